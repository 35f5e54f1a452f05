#!/bin/sh
# Reads every junit.xml below a results folder with readers that are not ours: three published schemas through xmllint, and
# the Python package junitparser.
#
#   tests/heavy/junit_readers.sh RESULTS
#
# Needs xmllint (Debian: libxml2-utils) and python3 with junitparser (pip install junitparser).
set -eu
cd "$(dirname "$0")/../.."
results=${1:?give a results folder}

# The two schemas that come with the junit-report package have no licence line of their own, so they are used from there.
package=$(cargo metadata --format-version 1 --offline --filter-platform "$(rustc -vV | sed -n "s/^host: //p")" |
    python3 -c 'import json, sys; print(next(p["manifest_path"] for p in json.load(sys.stdin)["packages"] if p["name"] == "junit-report"))')
schemas=$(dirname "$package")/tests

reports=$(find "$results" -name junit.xml | sort)
test -n "$reports" || { echo "no junit.xml below $results" >&2; exit 1; }
for report in $reports; do
    for schema in tests/data/xsd/junit-10.xsd "$schemas/JUnit.xsd" "$schemas/JUnit-alternative.xsd"; do
        # Outside: JUnit report against three published schemas; how: package xmllint
        xmllint --noout --schema "$schema" "$report"
    done
done

# Exit status and red cases have to tell the same story. junitparser counts anew from the cases.
python3 - $reports <<'PYTHON'
import json, pathlib, sys
from junitparser import JUnitXml

for name in sys.argv[1:]:
    record = json.loads(pathlib.Path(name).with_name("record.json").read_text())
    # Outside: JUnit report read and counted anew; how: package junitparser
    report = JUnitXml.fromfile(name)
    red = sum(suite.failures + suite.errors for suite in report)
    assert (red == 0) == (record["decision"] == "conforms"), f"{name}: {red} red cases, {record['decision']}"
    cases = [case for suite in report for case in suite]
    assert len(cases) >= sum(len(check["requirements"]) for check in record["checks"]), name
    properties = {property.name: property.value for suite in report for property in suite.properties()}
    assert properties["serial"] == record["unit"]["serial"], name
    print(f"{name}: {len(cases)} cases, {red} red, {record['decision']}")
PYTHON
