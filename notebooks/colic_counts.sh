#!/bin/sh
# Counts of the open equine colic records for colic.ipynb. Run at the top of a
# checkout: sh notebooks/colic_counts.sh FOLDER. The programs are run from the
# sources unless INGEST and REPORT name built ones.
set -eu
out=${1:?usage: sh notebooks/colic_counts.sh FOLDER}
ingest=${INGEST:-go run ./cmd/ingest}
report=${REPORT:-go run ./cmd/report}
colic=datasets/colic
mkdir -p "$out"

# These horses are public and their pseudonyms protect nobody, so the key may
# be written here. Yours may not.
HINDCHECK_KEY=${HINDCHECK_KEY:-00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff}
export HINDCHECK_KEY
$ingest load --quiet --store "$out/store" --sources $colic/sources --dictionary $colic/dictionary.yaml --rules $colic/rules.yaml \
  --definition $colic/death.yaml --strata $colic/strata.yaml --exported-at 2001-06-30 $colic/horse_colic.csv

# The records carry row numbers for days, from 2000-01-02 on.
ask() { $report query "$@" --store "$out/store" --format csv --param from_month=2000-01 --param to_month=2001-12 --param mature_before=2002-01-01; }
for finding in heart_rate packed_cell_volume; do
  ask finding_values --param finding=$finding --out "$out/$finding.csv"
done
ask flag_counts --out "$out/flag_counts.csv"
$report sql --store "$out/store" --format csv --out "$out/bits.csv" \
  "SELECT fired_0, unknown_0, need_same_day, count(*) AS n FROM cases GROUP BY ALL ORDER BY ALL"
