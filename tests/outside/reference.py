"""Degree-days worked out by other people's libraries, for the tests to compare with.

Prints one JSON document to standard output:

* ``source``: the packages and their versions.
* ``seattle``: four years of daily minimum and maximum temperature (vega_datasets, °C) and the
  yearly growing degree-days above 10 °C of the daily mean, as xclim sums them (°C·d).
* ``sine`` and ``triangle``: random days as ``[min, max, lower, value]``.
* ``sine_upper`` and ``triangle_upper``: random days as
  ``[min, max, lower, upper, horizontal, intermediate, vertical]``.

The day values come from numerical integration (scipy.integrate.quad) of what each cut-off means,
not from the closed formulas under test. Temperatures are in °C, values in °C·d. Nothing is
fetched: the Seattle record is part of the vega_datasets package.
"""

import importlib.metadata
import json
import math
import random
import sys
import warnings

from scipy.integrate import quad

# xclim warns about optional plotting that nothing here uses.
warnings.filterwarnings("ignore", message=".*matplotlib.*")

PACKAGES = ("xclim", "xarray", "scipy", "numpy", "pandas", "vega_datasets")
BASE_C = 10.0
SEED = 20_120_101
DAYS = 400
DAYS_WITH_UPPER = 200
# Largest error estimate of one day's integral that is let through, °C·d.
LARGEST_ERROR = 1e-9


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


def main():
    """Print the document."""
    document = {
        "source": {name: importlib.metadata.version(name) for name in PACKAGES},
        "seattle": seattle(),
        "sine": days_with_lower(Sine),
        "sine_upper": days_with_upper(Sine),
        "triangle": days_with_lower(Triangle),
        "triangle_upper": days_with_upper(Triangle),
    }
    json.dump(document, sys.stdout, allow_nan=False)
    print()


if __name__ == "__main__":
    main()
