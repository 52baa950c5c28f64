#!/bin/sh
# The whole job on the sample photos, into demo-out/.
set -eu
cd "$(dirname "$0")/.."
rm -rf demo-out
mkdir demo-out
bin/portmatch card --out demo-out/card.pdf
bin/portmatch match --target samples/gasket.jpg --target-height 1.2 --work samples/manifold-before.jpg --job demo-out/job
cat <<'T'

The card to print:        demo-out/card.pdf
What to grind, drawn:     demo-out/job/pass-1/overlay.png, port-1.png ... port-4.png
The map to lay on metal:  demo-out/job/pass-1/map.pdf
The page for your phone:  demo-out/job/report.html
T
