#!/usr/bin/env python3
"""Compares the engine with three published Python libraries over the same weather, day by day.

The libraries are pyfao56 1.4.3 (USDA-ARS), refet 0.5.0 (WSWUP) and pyet 1.5.0, installed from
PyPI into the folder `peers` of FURROWBELL_CACHE, or of target/test-cache. `compare.py [ENGINE]`
takes the built program `peer_values`, or builds it. It prints the largest and the mean difference
of each quantity and fails when one lies outside its tolerance, or when a library cannot be
installed.
"""

import csv
import io
import math
import random
import subprocess
import sys
from dataclasses import dataclass
from datetime import date, timedelta

from libraries import PROJECT, install

PINS = ["pyfao56==1.4.3", "refet==0.5.0", "pyet==1.5.0"]
MCLEAN = PROJECT.parent / "shared" / "data" / "mclean2015"

# Tolerances. All sums are in double precision, so what is left is constants and conventions.
#
# Same equations and constants: only the last bits differ, and pyet's pi has ten digits.
SAME = 1e-6
# refet and pyfao56 follow ASCE (2005), which has the Stefan-Boltzmann constant as 4.901e-9 where
# FAO-56 has 4.903e-9: 0.04 % of at most 8 MJ of net longwave or 3.3 mm. The slope of the saturation
# curve, 2503 against 2503.06, adds a twentieth of that.
ASCE = 0.0015

BALANCE_COLUMNS = ["Kcb", "De", "Kr", "Ke", "E", "DPe", "TAW", "Ks", "T", "DP", "Dr", "Runoff"]


@dataclass
class Day:
    """A day's weather: C, %, m/s, MJ m-2 d-1, mm."""

    date: date
    high_c: float
    low_c: float
    humidity_high: float
    humidity_low: float
    wind: float
    solar: float
    rain_mm: float

    def vapour_kpa(self):
        """Actual vapour pressure from both ends of the humidity (FAO-56 Eq. 17)."""
        at_low, at_high = saturation(self.low_c), saturation(self.high_c)
        return (at_low * self.humidity_high + at_high * self.humidity_low) / 200


@dataclass
class Record:
    """Days at a place: degrees, m above the sea, height of the wind in m, planting date if any."""

    name: str
    latitude: float
    elevation_m: float
    wind_height_m: float
    planted: date | None
    days: list


def saturation(celsius):
    """Saturation vapour pressure, kPa (FAO-56 Eq. 11)."""
    return 0.6108 * math.exp(17.27 * celsius / (celsius + 237.3))


def example_18():
    """FAO-56 (1998) Example 18: Uccle, Brussels, 6 July; 22.07 MJ from 9.25 h of sun."""
    day = Day(date(2015, 7, 6), 21.5, 12.3, 84.0, 63.0, 10 / 3.6, 22.07, 0.0)
    return Record("Example 18", 50.80, 100.0, 10.0, None, [day])


def invented_year():
    """A year at 42 N drawn from a fixed seed: frost to heat, overcast to clear, damp to dry."""
    draw = random.Random(42).random
    days = []
    for at in range(365):
        warmth = math.cos(2 * math.pi * (at - 200) / 365)
        height = math.cos(2 * math.pi * (at - 171) / 365)
        low = 4 + 14 * warmth + 10 * (draw() - 0.5)
        days.append(
            Day(
                date=date(2015, 1, 1) + timedelta(days=at),
                high_c=round(low + 3 + 14 * draw(), 2),
                low_c=round(low, 2),
                humidity_high=round(70 + 30 * draw(), 1),
                humidity_low=round(20 + 50 * draw(), 1),
                wind=round(1.5 + 7 * draw(), 2),
                solar=round((20 + 11 * height) * (0.2 + 0.8 * draw()), 2),
                rain_mm=round(60 * draw() ** 3, 1) if draw() < 0.3 else 0.0,
            )
        )
    return Record("invented year", 42.0, 300.0, 10.0, date(2015, 5, 1), days)


def mclean():
    """McLean County, Illinois, 2015, from pyfao56's own test 08 (USDA-ARS, CC0); may be absent."""
    file = MCLEAN / "met2015.wth"
    if not file.is_file():
        print("SKIP peers over McLean 2015: the record is not beside this repository")
        return None
    days = []
    for cells in map(str.split, file.read_text().splitlines()):
        if cells and cells[0].startswith("2015-"):
            day = date(2015, 1, 1) + timedelta(days=int(cells[0][5:]) - 1)
            solar, high, low, _, _, wettest, driest, wind, rain = map(float, cells[1:10])
            days.append(Day(day, high, low, wettest, driest, wind, solar, rain))
    return Record("McLean 2015", 40.49089, 256.0, 10.0, date(2015, 4, 28), days)


def engine(command, record):
    """The engine's answer: a list of numbers a day for every column."""
    table = io.StringIO()
    rows = csv.writer(table)
    rows.writerow(Day.__dataclass_fields__)
    rows.writerows(vars(day).values() for day in record.days)
    place = [record.latitude, record.elevation_m, record.wind_height_m]
    arguments = [str(value) for value in place + [record.planted] if value is not None]
    answer = subprocess.run(
        command + arguments, input=table.getvalue(), capture_output=True, text=True, check=False
    )
    if answer.returncode != 0:
        sys.exit(f"the engine failed over {record.name}: {answer.stderr}")
    lines = list(csv.DictReader(io.StringIO(answer.stdout)))
    assert [line["date"] for line in lines] == [str(day.date) for day in record.days]
    return {key: [float(line[key]) for line in lines] for key in lines[0] if key != "date"}


def refet_days(record):
    """The record in refet's hands, with the clear sky from elevation as FAO-56 has it."""
    import numpy
    import refet

    def column(of):
        return numpy.array([of(day) for day in record.days])

    return refet.Daily(
        tmin=column(lambda day: day.low_c),
        tmax=column(lambda day: day.high_c),
        rs=column(lambda day: day.solar),
        uz=column(lambda day: day.wind),
        ea=column(lambda day: day.vapour_kpa()),
        zw=record.wind_height_m,
        elev=record.elevation_m,
        lat=record.latitude,
        doy=column(lambda day: day.date.timetuple().tm_yday),
        method="asce",
        rso_type="simple",
    )

def pyet_values(record):
    """Penman-Monteith, Hargreaves and sunshine above the air by pyet."""
    import pandas
    import pyet

    days = pandas.DataFrame([vars(day) for day in record.days]).set_index("date")
    days.index = pandas.to_datetime(days.index)
    latitude = math.radians(record.latitude)
    mean = (days.high_c + days.low_c) / 2
    demand = pyet.pm_fao56(
        mean,
        days.wind * 4.87 / math.log(67.8 * record.wind_height_m - 5.42),
        rs=days.solar,
        tmax=days.high_c,
        tmin=days.low_c,
        rhmax=days.humidity_high,
        rhmin=days.humidity_low,
        elevation=record.elevation_m,
        lat=latitude,
    )
    # pyet turns MJ into mm by the heat that water takes at the day's temperature, FAO-56 by 0.408.
    by_temperature = pyet.hargreaves(mean, days.high_c, days.low_c, latitude)
    hargreaves = by_temperature * pyet.calc_lambda(mean) * 0.408
    above = pyet.extraterrestrial_r(days.index, latitude)
    return {"penman_monteith": demand, "hargreaves": hargreaves, "above": above}


def pyfao56_weather(record):
    """The record as pyfao56 wants it."""
    import pandas
    import pyfao56

    weather = pyfao56.Weather()
    weather.z, weather.lat = record.elevation_m, record.latitude
    weather.wndht = record.wind_height_m
    nothing = float("nan")
    rows = {
        f"{day.date:%Y-%j}": {
            "Srad": day.solar,
            "Tmax": day.high_c,
            "Tmin": day.low_c,
            "Vapr": nothing,
            "Tdew": nothing,
            "RHmax": day.humidity_high,
            "RHmin": day.humidity_low,
            "Wndsp": day.wind,
            "Rain": day.rain_mm,
            "ETref": nothing,
            "MorP": "M",
        }
        for day in record.days
    }
    weather.wdata = pandas.DataFrame.from_dict(rows, orient="index")
    return weather


def pyfao56_values(record):
    """Short reference by pyfao56."""
    weather = pyfao56_weather(record)
    return {"penman_monteith": [weather.compute_etref(key) for key in weather.wdata.index]}


def pyfao56_balance(record, demand):
    """The season's balance by pyfao56, fed the engine's demand; nothing outside the season."""
    import pyfao56

    weather = pyfao56_weather(record)
    weather.wdata["ETref"] = demand
    # Its test 08, par2015.par.
    corn = pyfao56.Parameters(
        Kcbini=0.15, Kcbmid=1.05, Kcbend=0.15, Lini=24, Ldev=32, Lmid=40, Lend=41, hini=0.01,
        hmax=2.0, thetaFC=0.290, thetaWP=0.068, theta0=0.290, Zrini=0.20, Zrmax=1.20, pbase=0.55,
        Ze=0.10, REW=9.0, CN2=75,
    )  # fmt: skip
    last = record.planted + timedelta(days=136)
    model = pyfao56.Model(f"{record.planted:%Y-%j}", f"{last:%Y-%j}", corn, weather, roff=True)
    model.run()
    season = model.odata.reindex(weather.wdata.index)
    return {key: season[key].astype(float) for key in BALANCE_COLUMNS}


def differences(ours, theirs):
    """Sizes of the differences over the days with a value, which must be the same days in both."""
    pairs = [(our, float(their)) for our, their in zip(ours, theirs, strict=True)]
    assert all(math.isnan(our) == math.isnan(their) for our, their in pairs), "days differ"
    return [abs(our - their) for our, their in pairs if not math.isnan(our)]


def compare(command, record):
    """Prints the record's rows of the table; gives how many lie outside."""
    ours = engine(command, record)
    answers = [
        ("pyfao56", ASCE, pyfao56_values(record)),
        ("refet", ASCE, {"penman_monteith": refet_days(record).eto()}),
        ("refet", SAME, {"above": refet_days(record).ra}),
        ("pyet", SAME, pyet_values(record)),
    ]
    if record.planted is not None:
        # A season without run-off, drainage or thirst would leave those equations untried.
        assert any(mm > 0 for mm in ours["Runoff"]) and any(mm > 0 for mm in ours["DP"])
        assert any(share < 1 for share in ours["Ks"])
        demand = ours["penman_monteith"]
        answers.append(("pyfao56", SAME, pyfao56_balance(record, demand)))
    outside = 0
    for library, within, values in answers:
        for quantity, theirs in values.items():
            found = differences(ours[quantity], theirs)
            largest, mean = max(found), sum(found) / len(found)
            verdict = "" if largest <= within else "  OUTSIDE"
            outside += bool(verdict)
            print(
                f"{record.name:14} {library:8} {quantity:16} {len(found):4} "
                f"{largest:9.1e} {mean:9.1e} {within:9.1e}{verdict}"
            )
    return outside


def main():
    install("peers", PINS)
    build = ["cargo", "run", "--quiet", "-p", "furrowbell-published", "--bin", "peer_values", "--"]
    command = sys.argv[1:] or build
    records = [example_18(), invented_year(), mclean()]
    print(f"{'weather':14} {'library':8} {'quantity':16} days   largest      mean    within")
    outside = sum(compare(command, record) for record in records if record is not None)
    if outside:
        sys.exit(f"{outside} quantities lie outside their tolerance")


if __name__ == "__main__":
    main()
