"""Opens the step-interval histograms of every record below a results folder with another HdrHistogram implementation.

    histograms.py RESULTS

Needs the Python package hdrhistogram. Decoded counts are compared, never payloads: deflate levels differ between
implementations.
"""

import json
import pathlib
import sys

from hdrh.histogram import HdrHistogram

records = sorted(pathlib.Path(sys.argv[1]).rglob("record.json"))
opened = clocks = 0
for name in records:
    record = json.loads(name.read_text())
    for curve in record["curves"]["step_intervals"]:
        # Outside: HdrHistogram V2 payloads of every record, decoded by another implementation; how: package hdrhistogram (Python)
        theirs = HdrHistogram.decode(curve["hdr"].encode())
        ours = sum(count for _, count in curve["counts"])
        assert theirs.get_total_count() == ours, f"{name}: {curve['label']}: {theirs.get_total_count()} is not {ours}"
        longest = max(interval for interval, _ in curve["counts"])
        assert theirs.get_max_value() == longest, f"{name}: {curve['label']}: {theirs.get_max_value()} is not {longest}"
        opened += 1
    for check in record["checks"]:
        for phase in (phase for clock in check.get("step_clock", []) for phase in clock["phases"]):
            if "intervals" in phase:
                theirs = HdrHistogram.decode(phase["intervals"]["hdr"].encode())
                assert theirs.get_total_count() == phase["intervals"]["count"] == phase["steps"], f"{name}: {phase}"
                opened += 1
                clocks += 1
assert clocks > 0, "no step clock below " + sys.argv[1]
assert opened > 0, "no histogram below " + sys.argv[1]
print(f"{opened} histograms of {len(records)} records opened by another implementation")
