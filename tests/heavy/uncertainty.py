"""Computes the uncertainties and decisions of stored runs again with reference libraries.

    uncertainty.py RESULTS

GTC combines each budget, scipy gives the coverage factor and the probability of conformity. Needs both packages.
"""

import json
import math
import pathlib
import sys

import GTC
from scipy import stats

# A budget that rectangles dominate is not covered by Student's t; its own checks stand in tests/external_stats.rs.
RELATIVE = 1e-6


def near(one, other, scale):
    return abs(one - other) <= RELATIVE * max(abs(scale), 1e-300)


def dominated(measured):
    """Whether the two widest rectangles outweigh the rest; a triangle is two of half its variance."""
    variances = [0.0, 0.0]
    for line in measured["budget"]:
        variance, shape = line["standard_uncertainty"] ** 2, line["input"]["distribution"]
        variances += {"rectangular": [variance], "triangular": [variance / 2] * 2}.get(shape, [])
    widest = sum(sorted(variances)[-2:])
    return widest > (1 + 1e-8) * (measured["standard_uncertainty"] ** 2 - widest)


def combined(measured):
    """The value as GTC combines it: one uncertain number for each line, through its sensitivity."""
    total = GTC.constant(measured["value"])
    for line in measured["budget"]:
        source, freedom = line["input"], line.get("degrees_of_freedom", math.inf)
        total = total + source["sensitivity"] * GTC.ureal(0.0, source["standard_uncertainty"], freedom)
    return total


def check(where, requirement, measured):
    # Outside: JCGM 100:2008, 5.1.2 and G.4.1, every budget of every stored run combined again; how: package GTC 1.5.1
    result = combined(measured)
    uncertainty = measured["standard_uncertainty"]
    assert near(GTC.uncertainty(result), uncertainty, uncertainty), where
    freedom = measured.get("degrees_of_freedom", math.inf)
    reference = GTC.dof(result)
    assert reference > 1e12 and freedom > 1e12 or near(reference, freedom, freedom), (where, reference, freedom)
    if dominated(measured) or "propagated_interval" in measured:
        return 0
    # A line that scatters next to nothing leaves more degrees of freedom than an integer of scipy holds.
    whole = max(math.floor(freedom), 1) if freedom < 1e12 else math.inf
    # Outside: JCGM 100:2008, G.3 and JCGM 106:2012, 7, every coverage factor and conformance probability; how: package scipy 1.17
    t = stats.t(whole) if math.isfinite(whole) else stats.norm()
    assert near(t.ppf(0.975), measured["coverage_factor"], 1.0), (where, whole)
    lower, upper = requirement.get("lower"), requirement.get("upper")
    below = lambda limit: t.cdf((limit - measured["value"]) / uncertainty)
    probability = (1.0 if upper is None else below(upper)) - (0.0 if lower is None else below(lower))
    assert near(probability, measured["conformance_probability"], 1.0), (where, probability)
    return 1


records = sorted(pathlib.Path(sys.argv[1]).rglob("record.json"))
assert records, f"no record.json below {sys.argv[1]}"
values = covered = 0
for name in records:
    record = json.loads(name.read_text())
    for done in record["checks"]:
        for requirement in done["requirements"]:
            for reading in requirement["readings"]:
                measured = reading.get("measured")
                if measured and measured["budget"] and not measured.get("correlations"):
                    values += 1
                    covered += check(f"{name}: {requirement['measurand']}, {reading['label']}", requirement, measured)
assert values >= 20 and covered >= 10, (values, covered)
print(f"{values} budgets of {len(records)} records combined again by GTC, {covered} coverages by scipy")
