"""Compares the lines of `railproof jig calibrate` with orthogonal distance regression by scipy on the same tables.

    calibration.py RAILPROOF

Makes tables of readings with errors in both coordinates; slope, intercept, their uncertainties and the sum of squares have
to agree. Needs numpy and scipy.
"""

import json
import subprocess
import sys
import tempfile
import warnings

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)
    from scipy import odr

railproof = sys.argv[1]
JIG = "fixtures/jigs/simulated.yaml"


def calibrated(folder, rows):
    table = f"{folder}/readings.csv"
    with open(table, "w", encoding="utf-8") as file:
        file.write("code,scatter,readings,reference [V],uncertainty [V]\n")
        for row in rows:
            file.write(",".join(repr(float(cell)) if index != 2 else str(int(cell)) for index, cell in enumerate(row)) + "\n")
    command = [railproof, "jig", "calibrate", "--jig", JIG, "--channel", "pack voltage", "--from", table]
    done = subprocess.run([*command, "--dry-run", "--format", "json"], capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        sys.exit(f"calibrate ended with {done.returncode}: {done.stderr}")
    return json.loads(done.stdout)


def close(what, found, expected, within):
    if abs(found - expected) > within * abs(expected):
        sys.exit(f"{what}: {found} against {expected}")


# Outside: calibration with doubt in both coordinates, by orthogonal distance regression; how: package scipy 1.17.1
def agrees_with_orthogonal_distance_regression(folder, seed):
    random = np.random.default_rng(seed)
    count = int(random.integers(4, 12))
    volts = np.sort(random.uniform(5.0, 9.0, count))
    doubt = 1e-3
    codes = (volts - 0.02) / 1.2513e-3 + random.normal(0.0, 0.8, count)
    reference = volts + random.normal(0.0, doubt, count)
    told = calibrated(folder, [(code, 0.8 * 3.0, 9, volt, doubt) for code, volt in zip(codes, reference)])
    code_doubts = [reading["count_uncertainty"] for reading in told["readings"]]
    model = odr.Model(lambda beta, x: beta[0] * x + beta[1])
    data = odr.RealData(codes, reference, sx=code_doubts, sy=doubt)
    fit = odr.ODR(data, model, beta0=[1.25e-3, 0.0], sstol=1e-15, partol=1e-15, maxit=500).run()
    close("slope", told["slope"], fit.beta[0], 1e-8)
    close("intercept", told["intercept"], fit.beta[1], 1e-5)
    close("chi-square", told["chi_square"], fit.sum_square, 1e-6)
    widened = told["widened_by"] or 1.0
    # What all readings share shifts the intercept by as much, and leaves the slope alone.
    close("u(slope)", told["slope_uncertainty"], widened * fit.cov_beta[0, 0] ** 0.5, 2e-3)
    own = widened**2 * fit.cov_beta[1, 1]
    close("u(intercept)", told["intercept_uncertainty"], (own + doubt**2) ** 0.5, 2e-3)


with tempfile.TemporaryDirectory() as folder:
    for seed in range(20):
        agrees_with_orthogonal_distance_regression(folder, seed)
print("20 calibrations agree with orthogonal distance regression")
