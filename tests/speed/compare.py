#!/usr/bin/env python3
"""Times one corn season here and in two published daily models, all in one run.

The models are pyfao56 1.4.3 (the soil water balance of FAO-56) and aquacrop 3.1.0 (FAO's crop
model), installed from PyPI into the folder `speed` of FURROWBELL_CACHE, or of target/test-cache.
All three take the same weather, a file that comes with aquacrop, and the same field: corn on silt
loam from planting over 150 days. They do different work: the models grow a crop and its water; the
engine runs every clock of a field and makes a row a day. The best of several runs counts.
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

# The installer is shared with the comparison of values, in the folder beside this one.
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "peers"))
from libraries import PROJECT, install  # noqa: E402

MODELS = ["pyfao56==1.4.3", "aquacrop==3.1.0"]
SEASON_DAYS = 150
RUNS = 5


def best(run):
    times = []
    for _ in range(RUNS):
        begun = time.perf_counter()
        run()
        times.append(time.perf_counter() - begun)
    return min(times)


def engine_seconds(weather, planted, last):
    subprocess.run(
        ["cargo", "build", "--quiet", "--release", "-p", "furrowbell-engine", "--example", "season_time"],
        cwd=PROJECT,
        check=True,
    )
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as file:
        for row in weather.itertuples():
            file.write(f"{row.Date:%Y-%m-%d} {row.MaxTemp} {row.MinTemp} {row.Precipitation}\n")
        file.flush()
        metadata = subprocess.check_output(
            ["cargo", "metadata", "--no-deps", "--format-version", "1"], cwd=PROJECT, text=True
        )
        target = Path(json.loads(metadata)["target_directory"])
        command = [str(target / "release" / "examples" / "season_time"), file.name]
        command += [f"{planted:%Y-%m-%d}", f"{last:%Y-%m-%d}"]
        seconds = []
        for _ in range(RUNS):
            took, rows = subprocess.check_output(command, text=True).split()
            assert int(rows) >= SEASON_DAYS, f"only {rows} rows"
            seconds.append(float(took))
        return min(seconds)


def aquacrop_seconds(weather, planted, last):
    from aquacrop import AquaCropModel, Crop, InitialWaterContent, Soil

    def run():
        model = AquaCropModel(
            sim_start_time=f"{planted:%Y/%m/%d}",
            sim_end_time=f"{last:%Y/%m/%d}",
            weather_df=weather,
            soil=Soil("SiltLoam"),
            crop=Crop("Maize", planting_date=f"{planted:%m/%d}"),
            initial_water_content=InitialWaterContent(value=["FC"]),
        )
        model.run_model(till_termination=True)

    return best(run)


def pyfao56_seconds(weather, planted, last):
    import pyfao56

    parameters = pyfao56.Parameters(thetaFC=0.305, thetaWP=0.110, theta0=0.305)
    days = pyfao56.Weather()
    days.wndht = 2.0
    rows = {
        f"{row.Date:%Y-%j}": {
            "Srad": float("nan"),
            "Tmax": row.MaxTemp,
            "Tmin": row.MinTemp,
            "Vapr": float("nan"),
            "Tdew": row.MinTemp,
            "RHmax": float("nan"),
            "RHmin": float("nan"),
            "Wndsp": 2.0,
            "Rain": row.Precipitation,
            "ETref": row.ReferenceET,
            "MorP": "M",
        }
        for row in weather.itertuples()
    }
    import pandas

    days.wdata = pandas.DataFrame.from_dict(rows, orient="index")

    def run():
        pyfao56.Model(f"{planted:%Y-%j}", f"{last:%Y-%j}", parameters, days).run()

    return best(run)


def main():
    install("speed", MODELS)
    import pandas
    from aquacrop.utils import get_filepath, prepare_weather

    weather = prepare_weather(get_filepath("champion_climate.txt"))
    weather = weather[weather["Date"].dt.year == weather["Date"].dt.year.iloc[0]]
    year = int(weather["Date"].dt.year.iloc[0])
    planted = pandas.Timestamp(year, 5, 1)
    last = planted + pandas.Timedelta(days=SEASON_DAYS - 1)
    ours = engine_seconds(weather, planted, last)
    print(f"engine    {ours * 1e6:10.1f} us a season, {1 / ours:.0f} seasons a second")
    for name, seconds in [
        ("pyfao56", pyfao56_seconds(weather, planted, last)),
        ("aquacrop", aquacrop_seconds(weather, planted, last)),
    ]:
        print(f"{name:9} {seconds * 1e6:10.1f} us a season, {seconds / ours:.0f} times the engine's")


if __name__ == "__main__":
    main()
