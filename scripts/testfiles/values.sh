#!/bin/sh
# Writes testdata/values-intake.csv: what LittleCMS makes of the profiles in testdata/intake, as CIELAB D50, relative
# colorimetric. Needs transicc (Debian: liblcms2-utils). Run from the project's root: sh scripts/testfiles/values.sh
set -eu
version=$(transicc --help 2>&1 | sed -n 's/.*\[\(LittleCMS [0-9.]*\)\].*/\1/p' | head -n 1)
out=testdata/values-intake.csv
printf 'profile,r,g,b,L,a,b_lab,source\n' >"$out"
for profile in p3 adobe srgb-v2 d50-gamma18; do
	for r in 0 51 128 204 255; do for g in 0 51 128 204 255; do for b in 0 51 128 204 255; do
		printf '%d %d %d\n' $r $g $b
	done; done; done >/tmp/values.$$
	transicc -i testdata/intake/$profile.icc -o '*Lab' -t1 -n </tmp/values.$$ 2>/dev/null | awk 'NF == 3' |
		paste -d' ' /tmp/values.$$ - |
		awk -v p="$profile" -v v="$version transicc -t1" '{ printf "%s,%s,%s,%s,%s,%s,%s,%s\n", p, $1, $2, $3, $4, $5, $6, v }' >>"$out"
	rm -f /tmp/values.$$
done
