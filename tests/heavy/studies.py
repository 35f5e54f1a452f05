"""Holds the statistics of the studies against other packages, on tables of drawn numbers.

    studies.py RAILPROOF

Needs the Python packages numpy, scipy, statsmodels and pingouin.
"""

import json
import pathlib
import subprocess
import sys
import tempfile

import numpy
import pandas
import pingouin
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.diagnostic import normal_ad
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

railproof = sys.argv[1]
folder = pathlib.Path(tempfile.mkdtemp())
chance = numpy.random.default_rng(7)


def close(ours, theirs, what, within=1e-9):
    assert abs(ours - theirs) <= within * max(1.0, abs(theirs)), f"{what}: {ours} is not {theirs}"


def ask(command, text, *more):
    table = folder / "table.csv"
    table.write_text(text)
    done = subprocess.run([railproof, command, "--from", table, "--format", "json", *more], capture_output=True, text=True)
    assert done.returncode in (0, 1, 3), done.stderr
    return json.loads(done.stdout)


def long_table(sets, upper):
    """Rows of set, measurand, serial and value, from arrays by set name and measurand."""
    lines = ["set,measurand,serial,value,unit,upper"]
    for name, quantities in sets.items():
        for number, values in enumerate(quantities):
            lines += [f"{name},q{number},{unit},{float(value)!r},s,{upper}" for unit, value in enumerate(values)]
    return "\n".join(lines) + "\n"


def compare(first, second, paired):
    """First and second: lists of arrays, one a quantity."""
    # Outside: Welch, paired t, Mann-Whitney, signed rank, their exact distributions with ties; how: package scipy 1.17.1
    # Outside: two one-sided tests, Holm, Benjamini-Hochberg; how: package statsmodels 0.15.0
    # Outside: Hedges' g; how: package pingouin 0.7.0
    upper = 5.0
    margin = 0.2 * upper
    found = ask("compare", long_table({"a": first, "b": second}, upper), "--paired" if paired else "--apart")
    rows = {row["measurand"]: row for row in found["compared"]}
    probabilities, judged = [], []
    for number, (one, other) in enumerate(zip(first, second)):
        row = rows[f"q{number}"]
        if paired:
            test = stats.ttest_rel(other, one)
            tost = ttost_paired(other, one, -margin, margin)[0]
            ranks = exact_signed_rank(other - one)
        else:
            test = stats.ttest_ind(other, one, equal_var=False)
            tost = ttost_ind(other, one, -margin, margin, usevar="unequal")[0]
            ranks = exact_mann_whitney(one, other)
            close(row["effect"], pingouin.compute_effsize(other, one, eftype="hedges"), "g", 1e-6)
            close(row["superiority"], stats.mannwhitneyu(other, one).statistic / len(one) / len(other), "superiority")
        interval = test.confidence_interval(0.95)
        close(row["t"]["value"], test.statistic, "t")
        close(row["t"]["degrees_of_freedom"], test.df, "df")
        close(row["t"]["probability"], test.pvalue, "p")
        close(row["interval"][0], interval.low, "low")
        close(row["interval"][1], interval.high, "high")
        close(row["equivalence"], tost, "equivalence")
        close(row["ranks"]["probability"], ranks, "ranks")
        close(row["shift"]["value"], hodges_lehmann(one, other, paired), "shift")
        probabilities.append(test.pvalue)
        judged.append(row)
    for row, holm, hochberg in zip(
        judged, multipletests(probabilities, method="holm")[1], multipletests(probabilities, method="fdr_bh")[1]
    ):
        close(row["holm"], holm, "Holm")
        close(row["false_discovery"], hochberg, "Benjamini-Hochberg")
    return len(judged)


def exact_mann_whitney(one, other):
    if len(set(one) | set(other)) == len(one) + len(other):
        method = "exact" if len(one) + len(other) <= 60 else "asymptotic"
        return stats.mannwhitneyu(other, one, method=method).pvalue
    if len(one) + len(other) > 60:
        return stats.mannwhitneyu(other, one, method="asymptotic").pvalue
    # Ties: every way of dealing the ranks.
    pooled = numpy.concatenate([other, one])
    ranks = stats.rankdata(pooled)
    result = stats.permutation_test(
        (ranks[: len(other)], ranks[len(other) :]), lambda x, y: numpy.sum(x), n_resamples=numpy.inf, alternative="less"
    )
    above = stats.permutation_test(
        (ranks[: len(other)], ranks[len(other) :]), lambda x, y: numpy.sum(x), n_resamples=numpy.inf, alternative="greater"
    )
    return min(1.0, 2 * min(result.pvalue, above.pvalue))


def exact_signed_rank(differences):
    differences = differences[differences != 0]
    if len(set(abs(differences))) == len(differences) and len(differences) <= 50:
        return stats.wilcoxon(differences, method="exact").pvalue
    if len(differences) > 60:
        return stats.wilcoxon(differences, method="asymptotic", correction=True).pvalue
    # Ties: every way of giving the ranks signs, sum by sum; ranks twice over are whole.
    ranks = numpy.round(2 * stats.rankdata(abs(differences))).astype(int)
    ways = numpy.zeros(ranks.sum() + 1)
    ways[0] = 1
    for rank in ranks:
        ways[rank:] += ways[: len(ways) - rank].copy()
    seen = ranks[differences > 0].sum()
    return min(1.0, 2 * min(ways[: seen + 1].sum(), ways[seen:].sum()) / ways.sum())


def hodges_lehmann(one, other, paired):
    if not paired:
        return float(numpy.median(numpy.subtract.outer(other, one)))
    differences = other - one
    upper = numpy.triu_indices(len(differences))
    return float(numpy.median((differences[:, None] + differences[None, :])[upper] / 2))


checked = 0
for count, ties in [(4, False), (5, True), (6, True), (8, False), (12, False), (40, False), (45, True), (70, False)]:
    for paired in (False, True):
        draw = lambda shift: [
            numpy.round(chance.normal(number * shift, 1.0, count), 1 if ties else 12) for number in range(6)
        ]
        checked += compare(draw(0.0), draw(0.4), paired)


def capability():
    # Outside: Anderson-Darling with probabilities; how: package statsmodels 0.15.0
    # Outside: Spearman, Kruskal-Wallis, chi-square intervals of capability; how: package scipy 1.17.1
    for count in (8, 25, 60, 400):
        for skewed in (False, True):
            values = chance.exponential(1.0, count) + 1 if skewed else chance.normal(10.0, 1.0, count)
            groups = ["a" if place < count // 2 else "b" for place in range(count)]
            rows = "".join(f"{float(value)!r},{group},4,15\n" for value, group in zip(values, groups))
            row = ask("capability", "value,group,lower,upper\n" + rows)["quantities"][0]
            statistic, probability = normal_ad(values)
            close(row["normality"]["a_squared"], statistic * (1 + 0.75 / count + 2.25 / count**2), "A squared", 1e-8)
            close(row["normality"]["probability"], probability, "P of A squared", 1e-8)
            correlation = stats.spearmanr(numpy.arange(count), values)
            close(row["drift"]["correlation"], correlation.statistic, "Spearman")
            close(row["drift"]["probability"], correlation.pvalue, "P of Spearman", 1e-8)
            if count >= 10:
                half = count // 2
                close(row["groups_differ"], stats.kruskal(values[:half], values[half:]).pvalue, "Kruskal-Wallis", 1e-8)
            if row["distribution"] == "normal":
                width = 11 / 6 / values.std(ddof=1)
                low, high = (width * (stats.chi2.ppf(tail, count - 1) / (count - 1)) ** 0.5 for tail in (0.025, 0.975))
                found = row["overall"]["width"]
                for ours, theirs in zip([found["value"], *found["interval"]], [width, low, high]):
                    close(ours, theirs, "Pp", 1e-7)


def gauge():
    # Outside: two-way analysis of variance of drawn studies of the jig; how: package statsmodels 0.15.0
    for units, appraisers, repeats in ((10, 3, 3), (5, 2, 2), (8, 4, 5)):
        rows = [
            (unit, who, float(unit + 0.3 * who + chance.normal(0, 0.5)))
            for unit in range(units)
            for who in range(appraisers)
            for _ in range(repeats)
        ]
        text = "unit,appraiser,value\n" + "".join(f"u{unit},a{who},{value!r}\n" for unit, who, value in rows)
        row = ask("gauge", text)["quantities"][0]
        frame = pandas.DataFrame(rows, columns=["unit", "who", "value"])
        theirs = anova_lm(ols("value ~ C(unit) * C(who)", frame).fit())
        ours = {line["source"]: line for line in row["anova"]}
        for name, of in (("units", "C(unit)"), ("appraisers", "C(who)"), ("interaction", "C(unit):C(who)")):
            close(ours[name]["sum_of_squares"], theirs.loc[of, "sum_sq"], name, 1e-7)
            close(ours[name]["degrees_of_freedom"], theirs.loc[of, "df"], name)
        close(ours["interaction"]["probability"], theirs.loc["C(unit):C(who)", "PR(>F)"], "P of interaction", 1e-7)


capability()
gauge()
print(f"studies: {checked} comparisons as scipy, statsmodels and pingouin have them")
