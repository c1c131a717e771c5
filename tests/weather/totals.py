"""Totals of recorded weather answers, worked out without the daemon's parsers.

    python3 totals.py FOLDER

FOLDER is named after a service: `nws`, `met-norway` or `open-meteo`. Prints one JSON object with an
entry for each file in it, which says what a reader must find there: the place, the forecasts with
the hours, lows, highs and rain of every layer, or nothing. Units are C, percent, m/s and mm; days
are days of UTC. Only the standard library is used, and sums are exact fractions.
"""

import json
import re
import sys
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from pathlib import Path

HOUR = timedelta(hours=1)
# layer: (name at NWS, at MET Norway, at Open-Meteo)
LAYERS = {
    "temperature": ("temperature", "air_temperature", "temperature_2m"),
    "dewpoint": ("dewpoint", "dew_point_temperature", "dew_point_2m"),
    "humidity": ("relativeHumidity", "relative_humidity", "relative_humidity_2m"),
    "sky": ("skyCover", "cloud_area_fraction", "cloud_cover"),
    "wind": ("windSpeed", "wind_speed", "wind_speed_10m"),
    "gust": ("windGust", "wind_speed_of_gust", "wind_gusts_10m"),
    "rain": ("quantitativePrecipitation", "precipitation_amount", "precipitation"),
    "snow": ("snowfallAmount", None, None),
}
TOTALS = {"rain", "snow"}
TEMPERATURE = {
    "degC": lambda v: v,
    "celsius": lambda v: v,
    "°C": lambda v: v,
    "degF": lambda v: (v - 32) * 5 / 9,
    "°F": lambda v: (v - 32) * 5 / 9,
}
SHARE = {"percent": lambda v: v, "%": lambda v: v}
SPEED = {
    "km_h-1": lambda v: v / Fraction("3.6"),
    "km/h": lambda v: v / Fraction("3.6"),
    "m_s-1": lambda v: v,
    "m/s": lambda v: v,
    # A mile is 1609.344 m (international yard and pound agreement, 1959).
    "mp/h": lambda v: v * Fraction("1609.344") / 3600,
}
DEPTH = {"mm": lambda v: v, "m": lambda v: v * 1000, "inch": lambda v: v * Fraction("25.4")}
UNITS = {"temperature": TEMPERATURE, "dewpoint": TEMPERATURE, "humidity": SHARE, "sky": SHARE}
UNITS |= {"wind": SPEED, "gust": SPEED, "rain": DEPTH, "snow": DEPTH}


def utc(text):
    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(timezone.utc)


def day(moment):
    return moment.date().isoformat()


def period(text):
    start, length = text.split("/")
    days, hours, minutes = re.fullmatch(
        r"P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?)?", length
    ).groups(default="0")
    start = utc(start)
    return start, start + timedelta(days=int(days), hours=int(hours), minutes=int(minutes))


def summary(layer, unit, periods):
    """What a layer says: `periods` are (start, end, value). None when its unit is not known."""
    convert = UNITS[layer].get(re.sub(r"^(wmoUnit|unit):", "", unit or ""))
    if convert is None:
        return None
    periods = [(s, e, convert(Fraction(str(v)))) for s, e, v in periods if v is not None]
    for start, end, _ in periods:
        # The sums below hold for whole hours; every recorded file has them.
        assert not (start.minute or start.second or end.minute or end.second), (layer, start)
    hours = sum((end - start) // HOUR for start, end, _ in periods)
    return hours, rain_days(periods) if layer in TOTALS else held_days(periods)


def rain_days(periods):
    """The part of each total that falls on each day: in proportion to time."""
    days = {}
    for start, end, total in periods:
        per_hour = total / ((end - start) // HOUR)
        while start < end:
            stop = min(end, start.replace(hour=0) + timedelta(days=1))
            days[day(start)] = days.get(day(start), 0) + per_hour * ((stop - start) // HOUR)
            start = stop
    return {date: [float(total)] for date, total in days.items()}


def held_days(periods):
    """The low and the high among the hours of each day."""
    days = {}
    for start, end, value in periods:
        for date in {day(start + n * HOUR) for n in range((end - start) // HOUR)}:
            low, high = days.get(date, (value, value))
            days[date] = (min(low, value), max(high, value))
    return {date: [float(low), float(high)] for date, (low, high) in days.items()}


def forecast(layers):
    """`layers` are (layer, unit, periods), those that were sent."""
    read, refused, known = {}, [], set()
    for layer, unit, periods in layers:
        if not periods:
            continue
        found = summary(layer, unit, periods)
        if found is None:
            refused.append(layer)
        elif found[0]:
            read[layer] = {"hours": found[0], "days": found[1]}
            for start, end, value in periods:
                if value is not None:
                    known |= {start + n * HOUR for n in range((end - start) // HOUR)}
    if not known:
        return None
    ends = [min(known).isoformat(), max(known).isoformat()]
    return {"hours": len(known), "ends": ends, "layers": read, "refused": refused}


def nws(answer):
    properties = answer.get("properties") if isinstance(answer, dict) else None
    if not isinstance(properties, dict):
        return {}
    found = {}
    if "gridId" in properties:
        x, y = int(properties["gridX"]), int(properties["gridY"])
        found["place"] = [f"{properties['gridId']}/{x},{y}", properties.get("timeZone")]
    layers = []
    for layer, (name, _, _) in LAYERS.items():
        sent = properties.get(name)
        if isinstance(sent, dict) and "values" in sent:
            values = [(*period(v["validTime"]), v.get("value")) for v in sent["values"]]
            layers.append((layer, sent.get("uom"), values))
    read = forecast(layers) if "updateTime" in properties else None
    if read:
        found |= {"forecasts": [read], "issued": utc(properties["updateTime"]).isoformat()}
    return found


def met_norway(answer):
    properties = answer["data"]["properties"]
    units = properties["meta"]["units"]
    steps = [(utc(step["time"]), step["data"]) for step in properties["timeseries"]]
    layers = []
    for layer, (_, name, _) in LAYERS.items():
        if layer not in TOTALS and name:
            values = [(t, t + HOUR, d["instant"]["details"].get(name)) for t, d in steps]
            values = [v for v in values if v[2] is not None]
            layers.append((layer, units.get(name), values))
    hourly = [(t, t + HOUR, amount(d, "next_1_hours")) for t, d in steps if "next_1_hours" in d]
    # Six-hourly totals begin to count where the hourly ones have ended.
    end = max((e for _, e, _ in hourly), default=steps[0][0])
    later = [(t, d) for t, d in steps if t >= end and "next_6_hours" in d]
    six = [(t, t + 6 * HOUR, amount(d, "next_6_hours")) for t, d in later]
    layers.append(("rain", units.get("precipitation_amount"), hourly + six))
    issued = utc(properties["meta"]["updated_at"]).isoformat()
    return {"forecasts": [forecast(layers)], "issued": issued}


def amount(data, ahead):
    return data[ahead]["details"]["precipitation_amount"]


def open_meteo(answer):
    places = answer if isinstance(answer, list) else [answer]
    if any(place.get("error") or "hourly" not in place for place in places):
        return {}
    return {"forecasts": [open_meteo_place(place) for place in places]}


def open_meteo_place(place):
    hourly, units = place["hourly"], place["hourly_units"]
    offset = timedelta(seconds=place["utc_offset_seconds"])

    def moment(time):
        if isinstance(time, int):
            return datetime.fromtimestamp(time, timezone.utc)
        return datetime.fromisoformat(time).replace(tzinfo=timezone.utc) - offset

    layers = []
    for layer, (_, _, name) in LAYERS.items():
        if name in hourly:
            # Sums and maxima are those of the hour before.
            back = HOUR if layer in ("rain", "gust") else 0 * HOUR
            starts = [moment(time) - back for time in hourly["time"]]
            values = [(s, s + HOUR, v) for s, v in zip(starts, hourly[name], strict=True)]
            layers.append((layer, units.get(name), values))
    return forecast(layers)


READERS = {"nws": nws, "met-norway": met_norway, "open-meteo": open_meteo}


def main():
    folder = Path(sys.argv[1])
    found = {}
    for file in sorted(folder.rglob("*")):
        if file.is_dir() or file.suffix == ".md":
            continue
        try:
            answer = json.loads(file.read_text(), parse_float=str)
        except json.JSONDecodeError:
            answer = None
        read = READERS[folder.name](answer) if answer is not None else {}
        found[file.relative_to(folder).as_posix()] = read
    json.dump(found, sys.stdout, indent=1)


main()
