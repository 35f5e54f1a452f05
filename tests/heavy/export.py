"""Has other engines open exports as they are, and agree with railproof's own figures.

    export.py RAILPROOF RESULTS RUNS RECORDS

RESULTS is a fleet of RUNS generated runs (see fleet.rs), RECORDS a folder of records of simulated runs. Needs the Python
packages duckdb, pandas, pyarrow, pyspark and hdrhistogram, and a Java runtime.
"""

import collections
import csv
import io
import json
import pathlib
import resource
import subprocess
import sys
import tempfile
import time

import duckdb
import pandas
from hdrh.histogram import HdrHistogram
from pyspark.sql import SparkSession

railproof, results, runs, records = sys.argv[1], sys.argv[2], int(sys.argv[3]), pathlib.Path(sys.argv[4])
MEMORY_MB_MAX = 300
folder = tempfile.TemporaryDirectory()
began = time.monotonic()


def own(*arguments):
    done = subprocess.run([railproof, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, check=True)
    return done.stdout.decode()


def found(*arguments):
    return csv.DictReader(io.StringIO(own("find", "--results", results, "--format", "csv", *arguments)))


def said(what):
    print(f"{time.monotonic() - began:5.1f} s: {what}", flush=True)


fleet = pathlib.Path(folder.name) / "fleet"
told = json.loads(own("export", "--results", results, "--into", str(fleet), "--format", "json"))
peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
assert told["rows"]["runs"] == runs, told
said(f"{told['rows']['runs']} runs, {told['rows']['values']} values in {told['partitions']} partitions, with {peak:.0f} MB")
assert peak < MEMORY_MB_MAX, f"{peak:.0f} MB"

# What railproof itself counts: decisions by model and month, and the values of a measurand.
by_month = collections.Counter(
    (run["model"], int(run["started"][:4]), int(run["started"][5:7]), run["decision"]) for run in found()
)
speeds = collections.defaultdict(list)
conform = collections.Counter()
for value in found("--value", "cruise speed"):
    key = value["check"], value["reading"]
    speeds[key].append(float(value["value"]))
    conform[key] += value["value_decision"] == "conforms"
assert sum(map(len, speeds.values())) > runs // 2
study = json.loads(own("capability", "--results", results, "--format", "json"))
said("railproof's own figures")

YIELD = "SELECT model, year, month, decision, count(*) FROM {runs} GROUP BY model, year, month, decision"
# Ppk as ISO 22514-2 has it for a normal distribution.
SPEED = """
    SELECT check_name, reading, count(value), sum(CASE WHEN value IS NOT NULL AND decision = 'conforms' THEN 1 ELSE 0 END),
        avg(value), stddev_samp(value), least(max(upper_limit) - avg(value), avg(value) - min(lower_limit)) / (3 * stddev_samp(value))
    FROM {values} WHERE measurand = 'cruise speed' GROUP BY check_name, reading"""
# The first run of each unit, and its last one.
FIRST = "SELECT sum(CASE WHEN decision = 'conforms' THEN 1 ELSE 0 END), count(*) FROM {runs} WHERE occasion = 'first'"
LAST = """
    SELECT sum(CASE WHEN decision = 'conforms' THEN 1 ELSE 0 END), count(*) FROM
        (SELECT decision, row_number() OVER (PARTITION BY serial ORDER BY started DESC) AS place FROM {runs}) AS ranked
    WHERE place = 1"""
INDICES = """
    SELECT v.check_name, v.measurand, v.reading, v.lower_limit, v.upper_limit, count(v.value), avg(v.value), stddev_samp(v.value),
        least(v.upper_limit - avg(v.value), avg(v.value) - v.lower_limit) / (3 * nullif(stddev_samp(v.value), 0))
    FROM {values} AS v JOIN {runs} AS r ON v.run = r.run WHERE r.occasion = 'first'
    GROUP BY v.check_name, v.measurand, v.reading, v.lower_limit, v.upper_limit
    HAVING count(*) = count(DISTINCT v.run)"""
QUERIES = YIELD, SPEED, FIRST, LAST, INDICES


def near(one, other):
    return abs(one - other) <= 1e-9 * max(abs(one), abs(other), 1e-3)


def agrees_with_capability(engine, first, last, indices):
    """Whether an engine comes to the yield and the indices of `capability`."""
    for (conforming, units), told in ((first[0], study["yield"]["first_pass"]), (last[0], study["yield"]["final"])):
        assert (conforming, units) == (told["count"], told["of"]), f"{engine}: {conforming} of {units}, {told}"
    indices = {row[:5]: row[5:] for row in indices}
    compared = 0
    for told in study["quantities"]:
        name = tuple(told[key] for key in ("check", "measurand", "reading", "lower", "upper"))
        if name not in indices:
            # A move that a check makes twice: `capability` takes one value of a run.
            continue
        count, mean, spread, ppk = indices[name]
        assert count == told["count"], f"{engine}: {name}: {count}, {told['count']}"
        assert near(mean, told["mean"]) and near(spread, told["standard_deviation"]), f"{engine}: {name}"
        if told["overall"] and told["distribution"].startswith("normal"):
            assert near(ppk, told["overall"]["nearer"]["value"]), f"{engine}: {name}: {ppk}, {told['overall']}"
            compared += 1
    assert compared >= 5, f"{engine}: {compared}"
    said(f"{engine} agrees with capability on yield and {compared} indices")


def agrees(engine, decisions, readings, *capability):
    """Whether an engine counts as railproof does: to the unit, and sums of doubles to their last digits."""
    if capability:
        agrees_with_capability(engine, *capability)
    counted = {(model, int(year), int(month), decision): count for model, year, month, decision, count in decisions}
    assert counted == dict(by_month), f"{engine}: {counted}"
    assert len(readings) == len(speeds), engine
    for check, reading, count, conforming, mean, spread, ppk in readings:
        values = pandas.Series(speeds[check, reading])
        assert (count, conforming) == (len(values), conform[check, reading]), f"{engine}: {check}, {reading}: {count}"
        assert abs(mean - values.mean()) < 1e-9 and abs(spread - values.std()) < 1e-9, f"{engine}: {check}, {reading}"
        assert 0.5 < ppk < 2, f"{engine}: {check}, {reading}: {ppk}"
    said(f"{engine} agrees")


# Outside: an export of a fleet opened as it is, yield and values of 100,000 runs; how: package duckdb
tables = {name: f"read_parquet('{fleet}/{name}/**/*.parquet', hive_partitioning = true)" for name in ("runs", "values")}
duck = duckdb.connect()
agrees("DuckDB", *(duck.sql(query.format(**tables)).fetchall() for query in QUERIES))

# Outside: the same export; how: package pandas with pyarrow
frame = pandas.read_parquet(fleet / "runs")
by_key = frame.groupby(["model", "year", "month", "decision"], observed=True).size().items()
values = pandas.read_parquet(fleet / "values", filters=[("measurand", "==", "cruise speed")])
readings = []
for (check, reading), of_it in values.groupby(["check_name", "reading"]):
    value = of_it["value"].dropna()
    room = min(of_it["upper_limit"].max() - value.mean(), value.mean() - of_it["lower_limit"].min())
    conforming = (of_it["decision"].eq("conforms") & of_it["value"].notna()).sum()
    readings.append((check, reading, len(value), conforming, value.mean(), value.std(), room / value.std() / 3))
agrees("pandas", [(*key, count) for key, count in by_key], readings)

# Outside: the same export; how: package pyspark
spark = (
    SparkSession.builder.master("local[2]")
    .config("spark.ui.enabled", "false")
    .config("spark.driver.host", "127.0.0.1")
    .config("spark.driver.bindAddress", "127.0.0.1")
    .config("spark.sql.shuffle.partitions", "2")
    .config("spark.ui.showConsoleProgress", "false")
    .config("spark.log.level", "ERROR")
    .getOrCreate()
)
for name in tables:
    spark.read.parquet(str(fleet / name)).createOrReplaceTempView(f"t_{name}")
views = {name: f"t_{name}" for name in tables}
agrees("Spark", *([tuple(row) for row in spark.sql(query.format(**views)).collect()] for query in QUERIES))
spark.stop()

# Outside: step histograms of an export against the payloads of the records; how: package hdrhistogram (Python)
few = pathlib.Path(folder.name) / "few"
told = json.loads(own("export", "--results", str(records), "--into", str(few), "--format", "json"))
assert told["without_step_histograms"] == 0, told
steps = duck.sql(f"""
    SELECT run, check_name, motion, direction, phase, sum(intervals), sum(intervals * interval_to_ns)::DOUBLE
    FROM read_parquet('{few}/step_histograms/**/*.parquet') GROUP BY ALL""")
exported = {row[:5]: row[5:] for row in steps.fetchall()}
payloads = collections.defaultdict(lambda: [0, 0.0])
for path in records.glob("[!.]*/*/record.json"):
    record = json.loads(path.read_text())
    for check in record["checks"]:
        for clock in check.get("step_clock", []):
            for phase in (phase for phase in clock["phases"] if "intervals" in phase):
                key = record["run"]["id"], check["name"], clock["label"], clock.get("direction"), phase["phase"]
                decoded = HdrHistogram.decode(phase["intervals"]["hdr"].encode())
                for step in decoded.get_recorded_iterator():
                    payloads[key][0] += step.count_at_value_iterated_to
                    payloads[key][1] += float(step.count_at_value_iterated_to * step.value_iterated_to)
assert exported.keys() == payloads.keys() and len(exported) > 50, f"{len(exported)} of {len(payloads)}"
for key, (count, total) in payloads.items():
    assert exported[key][0] == count and abs(exported[key][1] / total - 1) < 1e-12, f"{key}: {exported[key]}, {count}, {total}"
said(f"{len(exported)} step histograms of {told['rows']['runs']} records are the records' own")
