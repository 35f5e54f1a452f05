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
opened = 0
for name in records:
    for curve in json.loads(name.read_text())["curves"]["step_intervals"]:
        # Outside: HdrHistogram V2 payloads of every record, decoded by another implementation; how: package hdrhistogram (Python)
        theirs = HdrHistogram.decode(curve["hdr"].encode())
        ours = sum(count for _, count in curve["counts"])
        assert theirs.get_total_count() == ours, f"{name}: {curve['label']}: {theirs.get_total_count()} is not {ours}"
        longest = max(interval for interval, _ in curve["counts"])
        assert theirs.get_max_value() == longest, f"{name}: {curve['label']}: {theirs.get_max_value()} is not {longest}"
        opened += 1
assert opened > 0, "no histogram below " + sys.argv[1]
print(f"{opened} histograms of {len(records)} records opened by another implementation")
