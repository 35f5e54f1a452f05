#!/bin/sh
# Looks at every record below a results folder with tools that are not ours: digests through sha256sum, record.json against
# its schema through the Python package jsonschema, the PDF sheet through poppler.
#
#   tests/heavy/sheets.sh RESULTS
#
# Needs poppler-utils, and python3 with jsonschema (pip install jsonschema).
set -eu
cd "$(dirname "$0")/../.."
results=${1:?give a results folder}

records=$(find "$results" -name record.json | sort)
test -n "$records" || { echo "no record.json below $results" >&2; exit 1; }
for record in $records; do
    folder=$(dirname "$record")
    # Outside: digests of a run's files, FIPS 180-4; how: package coreutils (sha256sum)
    (cd "$folder" && sha256sum --check --strict --quiet digests.sha256)
    python3 - "$record" <<'PYTHON'
import json, sys
from jsonschema import Draft202012Validator

record = json.load(open(sys.argv[1]))
schema = json.load(open(f"fixtures/schema/record-{record['format']}.json"))
# Outside: record.json against its JSON Schema, draft 2020-12; how: package jsonschema
Draft202012Validator.check_schema(schema)
Draft202012Validator(schema).validate(record)
PYTHON
    pdf=$(find "$folder" -name certificate.pdf -o -name nonconformity.pdf)
    html=$(find "$folder" -name certificate.html -o -name nonconformity.html)
    test -s "$pdf" && test -s "$html"
    # Outside: sheets as tagged PDF with embedded fonts, and the text on every page; how: package poppler
    info=$(pdfinfo "$pdf" 2>/dev/null)
    echo "$info" | grep -q '^Tagged: *yes$'
    # Every font embedded and with a map back to characters, so that text can be searched and read aloud.
    pdffonts "$pdf" 2>/dev/null | awk 'NR > 2 && !($(NF-4) == "yes" && $(NF-2) == "yes") { print; bad = 1 } END { exit bad }'
    pages=$(echo "$info" | awk '/^Pages:/ { print $2 }')
    serial=$(python3 -c 'import json, sys; print(json.load(open(sys.argv[1]))["unit"]["serial"])' "$record")
    origin=$(python3 -c 'import json, sys; print(json.load(open(sys.argv[1]))["run"]["origin"])' "$record")
    for page in $(seq "$pages"); do
        text=$(pdftotext -f "$page" -l "$page" -layout "$pdf" - 2>/dev/null)
        echo "$text" | grep -q "page $page of $pages"
        echo "$text" | grep -qF "$serial"
        if [ "$origin" = simulated ]; then
            echo "$text" | grep -q 'Simulated run: no unit was tested, and this sheet certifies nothing.'
        fi
    done
    # The tags give every figure a description.
    figures=$(grep -ao '/Figure' "$pdf" | wc -l)
    test "$figures" -gt 0
    test "$figures" -eq "$(grep -ao '/Alt' "$pdf" | wc -l)"
    echo "$folder: $pages pages, $figures figures"
done
