"""Compares the step-clock report of `railproof measure` with numpy, AllanTools and another HdrHistogram on the same edges.

    step_clock.py RAILPROOF UNIT

Makes a table of edge times (a ramp, a long cruise with jitter, a ramp), the same as a value change dump and as a capture,
measures them, and does the same with the packages. Prints how much faster the report is done than by the packages, from a
table and from binary files: ours from a capture, theirs from a numpy file of the same edges.
"""

import json
import os
import pathlib
import subprocess
import sys
import tempfile
import time

import allantools
import numpy as np
from hdrh.histogram import HdrHistogram

RAILPROOF, UNIT = sys.argv[1:3]
STEPS_PER_METRE, RATE, ACCELERATION = 80_000, 7200.0, 128_000.0
JITTER_S, STEPS, BINARY_STEPS = 2.5e-6, 1_000_000, 2_000_000
# Numbers of periods over which every edge is used.
EVERY = [1, 2, 4, 8, 10, 16, 100]


def edges(steps, seed):
    """Edge times in ns: constant acceleration, cruise, constant deceleration; each step late by a normal deviate."""
    ramp = RATE**2 / (2 * ACCELERATION)
    step = np.arange(steps, dtype=float)
    end = 2 * RATE / ACCELERATION + (steps - 2 * ramp) / RATE
    times = np.where(step <= ramp, np.sqrt(2 * step / ACCELERATION), RATE / ACCELERATION + (step - ramp) / RATE)
    falling = end - np.sqrt(2 * np.maximum(steps - step, 0) / ACCELERATION)
    times = np.where(step > steps - ramp, falling, times)
    noise = np.random.default_rng(seed).normal(0, JITTER_S, steps)
    return np.sort(np.round((1.0 + times + noise) * 1e9).astype(np.int64))


def table(ticks, name):
    name.write_text("step [ns]\n" + "\n".join(map(str, ticks)) + "\n")


def dump(ticks, name):
    lines = ["$timescale 1 ns $end", "$var wire 1 ! D0 $end", "$enddefinitions $end", "#0", "0!"]
    for tick in ticks:
        lines += [f"#{tick}", "1!", f"#{tick + 5000}", "0!"]
    name.write_text("\n".join(lines) + "\n")


def capture(ticks, name):
    """The edges as a numpy file and as a capture beside it."""
    np.save(name, ticks)
    command = ["cargo", "test", "--quiet", "--release", "--test", "capture_size", "steps_of_another_program"]
    done = subprocess.run(command, env={**os.environ, "RAILPROOF_EDGES": str(name)}, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return name.with_suffix(".capture")


def measured(name, signal=None, more=()):
    command = [RAILPROOF, "measure", str(name), "--unit", UNIT, "--format", "json", *more]
    command += ["--channel", f"step={signal}"] if signal else []
    output = subprocess.run(command, check=True, stdout=subprocess.PIPE).stdout
    clocks = [clock for check in json.loads(output)["captures"][0]["checks"] for clock in check["step_clock"]]
    assert len(clocks) == 1 and clocks[0]["withheld"] is None, clocks
    return {phase["phase"]: phase for phase in clocks[0]["phases"]}


def farthest(strays, periods):
    """The widest range within so many periods (MTIE), by windows of doubled length."""
    high, low, width = strays, strays, 1
    while width < periods + 1:
        apart = min(width, periods + 1 - width)
        high, low = np.maximum(high[:-apart], high[apart:]), np.minimum(low[:-apart], low[apart:])
        width += apart
    return (high - low).max()


def by_packages(ticks):
    """The same figures of a cruise by the packages."""
    times = ticks * 1e-9
    index = np.arange(len(times), dtype=float)
    slope, offset = np.polyfit(index, times, 1)
    strays = times - (slope * index + offset)
    intervals = np.diff(ticks)
    period = (times[-1] - times[0]) / (len(times) - 1)
    phase = times - index * period
    taus = np.union1d(2 ** np.arange(0, int(np.log2(len(times) / 2))), EVERY)
    # Phase in periods, so that a rate of one a period makes the deviations those of the fractional rate.
    allan = allantools.oadev(phase / period, rate=1.0, data_type="phase", taus=taus)
    histogram = HdrHistogram(1, 60_000_000_000, 3)
    for interval in intervals:
        histogram.record_value(int(interval))
    return {
        "mean period": period,
        "step rate": 1 / period,
        "period jitter rms": intervals.std(ddof=1) * 1e-9,
        "period jitter peak to peak": np.ptp(intervals) * 1e-9,
        "cycle-to-cycle jitter": np.sqrt(np.mean(np.diff(intervals).astype(float) ** 2)) * 1e-9,
        "time interval error": np.sqrt(np.sum(strays**2) / (len(times) - 2)),
        "time interval error peak to peak": np.ptp(strays),
        "n": {n: (times[n:] - times[:-n]).std(ddof=1) for n in EVERY if 1 < n <= 16},
        "farthest": {n: farthest(strays, n) for n in [1, 2, 10, 100]},
        "allan": dict(zip(allan[0].astype(int), allan[1])),
        "longest": intervals.max() * 1e-9,
        "histogram": histogram,
    }


def against_profile(ticks):
    """The farthest step from the commanded profile, late is positive, its start fitted to the ramp up; the steps are those
    of `edges`, the first at rest and the last one step before it."""
    ramp = RATE**2 / (2 * ACCELERATION)
    step = np.arange(len(ticks), dtype=float)
    end = 2 * RATE / ACCELERATION + (len(ticks) - 2 * ramp) / RATE
    due = np.where(step <= ramp, np.sqrt(2 * step / ACCELERATION), RATE / ACCELERATION + (step - ramp) / RATE)
    due = np.where(step > len(ticks) - ramp, end - np.sqrt(2 * np.maximum(len(ticks) - step, 0) / ACCELERATION), due)
    late = (ticks - ticks[0]) * 1e-9 - due
    late -= late[: int(ramp)].mean()
    return late[np.argmax(np.abs(late))]


def acceleration(ticks):
    """Of the part of a ramp between a tenth and nine tenths of its rate."""
    times = ticks * 1e-9
    rate = np.gradient(np.arange(len(times), dtype=float), times)
    part = (rate > 0.1 * RATE) & (rate < 0.9 * RATE)
    return 2 * np.polyfit(times[part], np.flatnonzero(part).astype(float), 2, w=1 / rate[part])[0] / STEPS_PER_METRE


def near(what, ours, theirs, relative):
    assert abs(ours - theirs) <= relative * abs(theirs), f"{what}: {ours} is not {theirs}"


# Outside: the whole step-clock report of tables and dumps, on the same edges; how: package numpy, AllanTools and hdrhistogram (Python)
def compare(phases, ticks, origin):
    """The cruise as railproof found it, against the packages on those very edges; returns the packages' time. A table's
    clock begins a nanosecond before its first edge, a dump's with its own zero: the origin, in ns."""
    assert list(phases) == ["ramp up", "cruise", "ramp down"], list(phases)
    cruise = phases["cruise"]
    first = phases["ramp up"]["steps"]
    part = ticks[first : first + cruise["steps"] + 1]
    near("begin", cruise["began_s"], (part[0] - origin) * 1e-9, 1e-9)
    near("end", cruise["ended_s"], (part[-1] - origin) * 1e-9, 1e-9)
    began = time.perf_counter()
    theirs = by_packages(part)
    took = time.perf_counter() - began
    ours = {value["name"]: value for value in cruise["values"]}
    near("period", ours["mean period"]["value"], theirs["mean period"], 1e-9)
    near("rate", ours["step rate"]["value"], theirs["step rate"], 1e-9)
    # What the resolution of 1 ns adds is taken out of ours: some 1e-8 of the variance.
    for name in ["period jitter rms", "cycle-to-cycle jitter", "time interval error"]:
        near(name, ours[name]["value"], theirs[name], 1e-6)
    near("period jitter peak to peak", ours["period jitter peak to peak"]["value"], theirs["period jitter peak to peak"], 1e-3)
    # The envelope keeps one point of each band; by how much that may be short is in the doubt.
    farthest_apart = ours["time interval error peak to peak"]
    off = abs(farthest_apart["value"] - theirs["time interval error peak to peak"])
    assert off <= 3**0.5 * farthest_apart["standard_uncertainty"] + 1e-4 * farthest_apart["value"], farthest_apart
    for point in cruise["n_period_jitter"]:
        near(f"over {point['periods']}", point["value"], theirs["n"][point["periods"]], 1e-6)
    compared = 0
    for point in cruise["allan_deviation"]:
        if point["periods"] in EVERY:
            near(f"Allan {point['periods']}", point["value"], theirs["allan"][point["periods"]], 1e-6)
            near("tau", point["tau_s"], point["periods"] * theirs["mean period"], 1e-9)
            compared += 1
        elif point["periods"] in theirs["allan"] and point["differences"] > 100:
            expected = theirs["allan"][point["periods"]]
            assert abs(point["value"] - expected) < 4 * point["standard_uncertainty"] + 0.02 * expected, point
            compared += 1
    assert compared > len(EVERY), compared
    for point in cruise["maximum_time_interval_error"]:
        if point["periods"] in theirs["farthest"]:
            # Short windows are tilted a little by the period that was guessed at first; the half-width of that is in the doubt.
            off = abs(point["value"] - theirs["farthest"][point["periods"]])
            assert off <= 3**0.5 * point["standard_uncertainty"] + 1e-4 * point["value"], point
        else:
            assert point["periods"] >= 1000 and point["value"] > theirs["farthest"][100], point
    near("longest gap", cruise["longest_gap"]["value"], theirs["longest"], 1e-9)
    opened = HdrHistogram.decode(cruise["intervals"]["hdr"].encode())
    assert opened.get_total_count() == theirs["histogram"].get_total_count() == cruise["intervals"]["count"]
    for percentile in [0.1, 1, 25, 50, 75, 99, 99.9, 100]:
        assert opened.get_value_at_percentile(percentile) == theirs["histogram"].get_value_at_percentile(percentile)
    for name, ramp in [("acceleration", "ramp up"), ("deceleration", "ramp down")]:
        value = next(value for value in phases[ramp]["values"] if value["name"] == name)
        expected = ACCELERATION / STEPS_PER_METRE
        assert abs(value["value"] - expected) < 4 * value["standard_uncertainty"] + 1e-4 * expected, value
    return took


with tempfile.TemporaryDirectory() as folder:
    folder = pathlib.Path(folder)
    for seed, steps in [(1, 20_000), (2, STEPS)]:
        ticks = edges(steps, seed)
        table(ticks, folder / "edges.csv")
        began = time.perf_counter()
        phases = measured(folder / "edges.csv", "step")
        ours = time.perf_counter() - began
        began = time.perf_counter()
        np.loadtxt(folder / "edges.csv", skiprows=1)
        reading = time.perf_counter() - began
        theirs = compare(phases, ticks, ticks[0] - 1)
    dump(edges(20_000, 1), folder / "edges.vcd")
    compare(measured(folder / "edges.vcd", "D0"), edges(20_000, 1), 0)
    ticks = edges(BINARY_STEPS, 3)
    name = capture(ticks, folder / "edges.npy")
    ratios = []
    for _ in range(3):
        began = time.perf_counter()
        phases = measured(name, more=["--no-closer-look"])
        ours_binary = time.perf_counter() - began
        began = time.perf_counter()
        loaded = np.load(folder / "edges.npy")
        first = phases["ramp up"]["steps"]
        last = first + phases["cruise"]["steps"]
        by_packages(loaded[first : last + 1])
        accelerations = acceleration(loaded[:first]), -acceleration(loaded[last:])
        profile = against_profile(loaded)
        theirs_binary = time.perf_counter() - began
        ratios.append((theirs_binary / ours_binary, ours_binary, theirs_binary))
    compare(phases, ticks, 0)
    for found in accelerations:
        near("acceleration", found, ACCELERATION / STEPS_PER_METRE, 0.02)
    values = [v for p in phases.values() for v in p["values"] if v["name"] == "time interval error against the profile"]
    farthest_of_all = max((value["value"] for value in values), key=abs)
    assert abs(farthest_of_all - profile) < 1e-6, (farthest_of_all, profile)
    ratio, ours_binary, theirs_binary = sorted(ratios)[1]
theirs += reading
print(
    f"step clock: {BINARY_STEPS} edges from binary files, without spectra, reported in {ours_binary:.3f} s, by the packages in "
    f"{theirs_binary:.2f} s: {ratio:.0f} times (median of three)"
)
assert ratio >= 10, ratios
print(
    f"step clock: four captures agree with numpy, AllanTools and HdrHistogram; {STEPS} edges read from a table and "
    f"reported in {ours:.2f} s, by the packages in {theirs:.2f} s ({reading:.2f} s of it to read): {theirs / ours:.0f} times"
)
