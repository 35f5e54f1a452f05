"""Compares the closer look of `railproof measure` with scipy on the same series.

    spectrum.py RAILPROOF UNIT

Makes a table of edge times of a steady travel: steps late by two tones and noise, a carriage that sways by two more.
From the same times scipy gives Welch's density, the amplitude of a weighted periodogram where it is largest, and a fit of
sines; each has to agree. Needs numpy and scipy.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
from scipy import optimize, signal

railproof, unit = sys.argv[1:3]
rng = np.random.default_rng(20261127)
RATE, STEPS, EDGES_PER_MM = 7200.0, 30_001, 40.0
SPEED = RATE / 80.0 * 1e-3

step = np.arange(STEPS)
nominal = 0.5 + step / RATE
late_tones = [(83.37, 2.1e-6), (611.9, 0.9e-6)]
late = sum(a * np.sin(2 * np.pi * f * nominal + 0.4) for f, a in late_tones) + rng.normal(0, 0.8e-6, STEPS)
steps = nominal + late

sways = [(2.25, 30e-6), (45.0, 4e-6)]
edge = np.arange(1, int(STEPS * EDGES_PER_MM / 80.0) - 40)
way = edge / (EDGES_PER_MM * 1e3) - 5e-6
edges = way / SPEED
for _ in range(20):
    edges = (way - sum(a * np.sin(2 * np.pi * f * edges + 0.7) for f, a in sways)) / SPEED
edges = np.sort(0.5 + edges + rng.normal(0, 0.2e-6, len(edges)))
# The first edge is one of A, which leads towards the right; each track changes with every second one.
tracks = {"enc_a": edges[0::2], "enc_b": edges[1::2]}

columns = {"dir": np.array([0.1]), "step": steps, **tracks}
longest = max(map(len, columns.values()))
lines = [",".join(columns)]
for row in range(longest):
    lines.append(",".join(f"{times[row]:.9f}" if row < len(times) else "" for times in columns.values()))

with tempfile.TemporaryDirectory() as folder:
    table = pathlib.Path(folder) / "edges.csv"
    table.write_text("\n".join(lines) + "\n")
    wires = ["step=step", "direction=dir", "encoder a=enc_a", "encoder b=enc_b"]
    command = [railproof, "measure", str(table), "--unit", unit, "--encoder", "40 edges/mm", "--format", "json"]
    command += [word for wire in wires for word in ("--channel", wire)]
    said = subprocess.run(command, capture_output=True, text=True)
    assert said.returncode == 0, said.stderr + said.stdout
look = json.loads(said.stdout)["captures"][0]["checks"][0]["closer_look"][0]


def agree(what, ours, theirs, within):
    assert abs(ours - theirs) <= within, f"{what}: {ours!r} here, {theirs!r} by scipy, more than {within:g} apart"


def compare(name, spectrum, times, per_reading, gain, expected):
    """`times` of the readings, what one of them is worth in their unit (None: seconds), `gain` from their amplitude to
    that shown, and the tones that were put in with their causes."""
    count = spectrum["readings"]
    assert count <= len(times), (name, count, len(times))
    index = np.arange(count)
    rate = (count - 1) / (times[count - 1] - times[0])
    agree(f"{name}: rate", spectrum["rate_hz"], rate, 1e-7 * rate)
    scale = 1.0 if per_reading is None else per_reading * rate
    series = scale * (times[:count] - times[0] - index / rate)

    frequencies, density = signal.welch(
        series, fs=rate, window="hann", nperseg=256, noverlap=128, detrend="linear", scaling="density"
    )
    ours = np.array(spectrum["density"]["values"])
    assert len(ours) == len(density) and spectrum["density"]["segments"] == (count - 128) // 128
    worst = np.max(np.abs(ours / density - 1)[1:])
    assert worst < 1e-5, f"{name}: the density differs by {worst:g}"

    weighted = signal.detrend(series) * signal.get_window("hann", count)
    lines, power = signal.periodogram(series, fs=rate, window="hann", detrend="linear", scaling="spectrum")
    tones = spectrum["tones"]
    for (frequency, amplitude), cause in expected:
        tone = min(tones, key=lambda tone: abs(tone["frequency_hz"] - frequency))
        # Where the weighted transform is largest between its lines, and how large it is there.
        height = lambda f: -abs(np.sum(weighted * np.exp(-2j * np.pi * f / rate * index)))
        bounds = (frequency - 0.15, frequency + 0.15)
        best = optimize.minimize_scalar(height, bounds=bounds, method="bounded", options={"xatol": 1e-9})
        agree(f"{name}: frequency", tone["frequency_hz"], best.x, 0.1 * tone["frequency_expanded_uncertainty_hz"])
        theirs = -best.fun * 2 / (0.5 * count) * gain(best.x)
        agree(f"{name}: amplitude", tone["amplitude"], theirs, 1e-3 * theirs)
        # The periodogram's nearest line is the same peak, at most 15 % lower between two lines.
        near = np.sqrt(2 * power[np.argmin(np.abs(lines - best.x))]) * gain(best.x)
        assert 0.84 * theirs < near <= 1.0001 * theirs, (name, near, theirs)
        # What was put in comes out within what is said of it.
        agree(f"{name}: true frequency", tone["frequency_hz"], frequency, 2 * tone["frequency_expanded_uncertainty_hz"])
        true = amplitude * (gain(frequency) if name == "carriage" else 1)
        within = 2 * tone["amplitude_expanded_uncertainty"] + 2e-5 * true
        agree(f"{name}: true amplitude", tone["amplitude"], true, within)
        assert tone["cause"] == cause, (name, tone["cause"], cause)
    assert spectrum["tones_left_out"] == 0


late_expected = list(zip(late_tones, [None, None]))
compare("step clock", look["step_clock"], np.round(steps, 9), None, lambda f: 1.0, late_expected)
sway_expected = list(zip(sways, ["pulley turn", "tooth mesh"]))
first = int(np.searchsorted(edges, steps[0]))
borders = np.round(edges, 9)[first:]
compare("carriage", look["carriage_speed"], borders, 1e-3 / EDGES_PER_MM, lambda f: 2 * np.pi * f, sway_expected)
print("densities, tones and causes of a step clock and a carriage agree with scipy")
