"""Compares the pack's and the heat's values of `railproof measure` with numpy and scipy on the same samples.

    pack.py RAILPROOF UNIT

Makes two tables: a load step and two travels on a pack with one resistor-capacitor pair, and an hour's warming cut short.
From the same rounded samples numpy and scipy give the resistance in use by least squares with a level and a slope for each
piece, the split by a fit of the circuit to every sample, the energy by the trapezoidal rule and the settled temperature by
curve_fit; each has to agree, and what was put in has to lie within what is said of it. Needs numpy and scipy.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy import integrate, optimize, signal

RAILPROOF, UNIT = sys.argv[1:3]
rng = np.random.default_rng(20261128)
SAMPLE_S, RATE, STEPS = 4e-3, 7200.0, 14_400
OHMIC, SLOW, TIME_CONSTANT, DRIFT = 0.105, 0.055, 1.7, 5e-4
ON, OFF, TRAVELS, END = 2.0, 5.0, [17.0, 21.5], 26.0


def table(name, columns):
    """A row for each moment of each column, cells empty where a column says nothing new."""
    rows = {}
    for number, (times, cells) in enumerate(columns.values()):
        for time, cell in zip(times, cells):
            rows.setdefault(f"{time:.6f}", [""] * len(columns))[number] = str(cell)
    lines = ["time [s]," + ",".join(columns)]
    lines += [f"{time}," + ",".join(cells) for time, cells in sorted(rows.items(), key=lambda row: float(row[0]))]
    name.write_text("\n".join(lines) + "\n")


def pulses(times):
    """A line that is high for 20 µs from each of these times on."""
    both = np.column_stack([times, times + 20e-6]).ravel()
    return np.insert(both, 0, 0.0), [0] + [1, 0] * len(times)


def measured(name, channels):
    command = [RAILPROOF, "measure", str(name), "--unit", UNIT, "--format", "json"]
    command += [word for channel in channels for word in ("--channel", channel)]
    said = subprocess.run(command, capture_output=True, text=True)
    assert said.returncode == 0, said.stderr + said.stdout
    checks = json.loads(said.stdout)["captures"][0]["checks"]
    assert len(checks) == 1, len(checks)
    return {value["measurand"]: value["readings"] for value in checks[0]["values"]}


def agree(what, ours, theirs, within):
    assert abs(ours - theirs) <= within, f"{what}: {ours!r} here, {theirs!r} by numpy or scipy, more than {within:g} apart"


def compare(what, reading, theirs, share, true, scale=1.0):
    """`reading` agrees with `theirs` to within a share of its expanded uncertainty, and with the truth to within twice that."""
    assert "withheld" not in reading, (what, reading)
    value, expanded = reading["value"] * scale, reading["expanded_uncertainty"] * scale
    agree(what, value, theirs, share * expanded)
    agree(f"{what}, put in", value, true, 2 * expanded)


# Outside: resistance in use, split, and energy per traverse of a pack with one RC pair, numpy.linalg.lstsq, scipy.optimize.least_squares and scipy.integrate; how: package numpy 2.4.6 and scipy 1.17.1
def pack(folder):
    time = np.arange(0, END, SAMPLE_S) + 1e-3
    lasts = STEPS / RATE
    current = np.where((time > ON) & (time < OFF), 1.1, 0.06)
    for began in TRAVELS:
        since = time - began
        moving = (since >= 0) & (since < lasts)
        share = np.clip(np.minimum(since, lasts - since) / 0.056, 0, 1)
        current = np.where(moving, 0.06 + 0.45 * share * (1 + 0.15 * np.sin(2 * np.pi * 2.25 * since)), current)
    decay = np.exp(-SAMPLE_S / TIME_CONSTANT)
    # The state after a sample's time at its current: what a sample sees is that of the one before.
    through = lambda current, decay: np.r_[
        current[0],
        signal.lfilter([1 - decay], [1, -decay], current, zi=[decay * current[0]])[0][:-1],
    ]
    charge = np.r_[0, np.cumsum(current)[:-1]] * SAMPLE_S
    volt = 7.9 - OHMIC * current - SLOW * through(current, decay) - DRIFT * charge
    volt = np.round((volt + rng.normal(0, 1.5e-3, len(time))) / 1.25e-3) * 1.25e-3
    noisy = np.round((current + rng.normal(0, 1e-3, len(time))) / 0.5e-3) * 0.5e-3

    steps = np.concatenate([began + np.arange(STEPS) / RATE for began in TRAVELS])
    ends = [began + lasts - 0.05 for began in TRAVELS]
    columns = {
        "step": pulses(steps),
        "dir": ([0.0, TRAVELS[1] - 1e-3], [1, 0]),
        "left": ([0.0, TRAVELS[0] + 0.05, ends[1]], [1, 0, 1]),
        "right": ([0.0, ends[0], TRAVELS[1] + 0.05], [0, 1, 0]),
        "load": ([0.0, ON, OFF], [0, 1, 0]),
        "U": (time, [f"{value:.5f}" for value in volt]),
        "I": (time, [f"{value:.4f}" for value in noisy]),
    }
    name = folder / "pack.csv"
    table(name, columns)
    wires = ["step=step", "direction=dir", "left end stop=left", "right end stop=right", "dummy load=load"]
    values = measured(name, wires + ["pack voltage=U@1 V", "pack current=I@1 A"])

    # In use: pieces of half a second about each change of load and between, a level and a slope each; one resistance and one
    # growth with the charge for all. Pieces whose current stands still tell nothing of it.
    changes = sorted([ON, OFF] + TRAVELS + [began + (STEPS - 1) / RATE for began in TRAVELS])
    bounds = sorted(bound for at in changes for bound in (at - 0.25, at + 0.25))
    edges = np.array([0.0] + bounds + [END])
    pieces = [np.flatnonzero((time >= begin) & (time < end)) for begin, end in zip(edges, edges[1:])]
    pieces = [part for long in pieces for part in np.array_split(long, max(1, round(len(long) / 125)))]
    pieces = [part for part in pieces if len(part) > 8 and np.std(signal.detrend(noisy[part])) > 6e-3]
    rows = np.concatenate(pieces)
    design = np.zeros((len(rows), 2 + 2 * len(pieces)))
    taken = integrate.cumulative_trapezoid(noisy, time, initial=0.0)
    design[:, 0], design[:, 1] = -noisy[rows], -taken[rows]
    row = 0
    for number, part in enumerate(pieces):
        design[row : row + len(part), 2 + 2 * number] = 1.0
        design[row : row + len(part), 3 + 2 * number] = time[part] - time[part].mean()
        row += len(part)
    by_numpy = np.linalg.lstsq(design, volt[rows], rcond=None)[0][0]
    compare("resistance in use", values["pack resistance in use"][0], by_numpy, 0.5, OHMIC, 1e-3)

    # The circuit fitted to every sample from a second before the load to the first step.
    part = (time >= ON - 1.0) & (time < TRAVELS[0])
    since, amperes, volts = time[part] - time[part][0], noisy[part], volt[part]

    def misfit(guess):
        level, ohmic, slow, time_constant, drift = guess
        state = through(amperes, np.exp(-SAMPLE_S / time_constant))
        taken = np.r_[0, np.cumsum(amperes)[:-1]] * SAMPLE_S
        return level - ohmic * amperes - slow * state - drift * taken - volts

    fit = optimize.least_squares(misfit, [8.0, 0.1, 0.05, 2.0, 0.0], x_scale=[1, 0.1, 0.1, 1, 1e-3], xtol=1e-12, ftol=1e-12)
    for what, place, true, scale in [
        ("pack ohmic resistance", 1, OHMIC, 1e-3),
        ("pack slow resistance", 2, SLOW, 1e-3),
        ("pack slow time constant", 3, TIME_CONSTANT, 1.0),
    ]:
        compare(what, values[what][0], fit.x[place], 0.4, true, scale)

    traverses = values["energy per traverse"]
    assert len(traverses) == len(TRAVELS), traverses
    for began, reading in zip(TRAVELS, traverses):
        grid = np.linspace(began, began + (STEPS - 1) / RATE, 100_001)
        energy = lambda amperes: integrate.simpson(np.interp(grid, time, volt * amperes), x=grid)
        compare("energy per traverse", reading, energy(noisy), 0.7, energy(current), 3600.0)


# Outside: settled temperature and time constant of a short run, with their standard deviations, scipy.optimize.curve_fit; how: package scipy 1.17.1
def heat(folder):
    second = np.arange(0, 361.0)
    course = lambda time, settled, rest, constant: settled + rest * np.exp(-time / constant)
    celsius = course(second, 46.0, -23.0, 210.0) + rng.normal(0, 0.05, len(second))
    celsius = np.round(celsius / 0.0625) * 0.0625
    steps = 1.0 + np.arange(18_001) / 50.0
    columns = {
        "step": pulses(steps),
        "dir": ([0.0], [1]),
        "motor": (1.0 + second, [f"{value:.4f}" for value in celsius]),
    }
    name = folder / "heat.csv"
    table(name, columns)
    values = measured(name, ["step=step", "direction=dir", "motor temperature=motor@1 K"])
    found, covariance = optimize.curve_fit(course, second, celsius, p0=[40, -20, 150])
    for what, place, true in [("motor settled temperature", 0, 46.0), ("motor warming time constant", 2, 210.0)]:
        reading = values[what][0]
        compare(what, reading, found[place], 0.1, true)
        fitted = next(line for line in reading["budget"] if line["from"] == "repeat, fit")["standard_uncertainty"]
        agree(f"{what}, deviation", fitted, np.sqrt(covariance[place, place]), 0.1 * fitted)


with tempfile.TemporaryDirectory() as name:
    pack(pathlib.Path(name))
    heat(pathlib.Path(name))
print("resistances, energies and settled temperatures agree with numpy and scipy")
