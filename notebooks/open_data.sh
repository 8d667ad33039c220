#!/bin/sh
# The published dataset of the demonstration line for the notebooks, with the
# figures that they compare. Run at the top of a checkout: sh
# notebooks/open_data.sh FOLDER. The program is run from the sources unless REPORT
# names a built one.
set -eu
out=${1:?usage: sh notebooks/open_data.sh FOLDER}
report=${REPORT:-go run ./cmd/report}
mkdir -p "$out"

$report demo --quiet --dir "$out/demo"
$report publish "$out/release" --quiet --store "$out/demo/store" --privacy "$out/demo/privacy.yaml"
$report monthly --store "$out/demo/store" --format json > "$out/review.json"
$report thresholds capillary_refill_s --store "$out/demo/store" --format json --out "$out/capillary_refill_s.json"
$report thresholds breathing_rate --species cat --store "$out/demo/store" --format json --out "$out/breathing_rate.json"
