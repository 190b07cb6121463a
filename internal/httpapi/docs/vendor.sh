#!/bin/sh
# Fetches what the page renders with. For another version: change both, the integrity
# from `npm view swagger-ui-dist@VERSION dist.integrity`; run this, then .ci/run.
set -eu
cd "$(dirname "$0")"
exec ../../../.ci/npm-files swagger-ui-dist@5.35.0 \
	'sha512-U06rpMtW9V3XPGOBeamTUSr0Z09jMX4IJuANpE/EZbAhw0G8CgwrzU4YmXkn/h0wCDNsXdGarTNNHC3sU8yVUQ==' \
	swagger-ui \
	swagger-ui-bundle.js swagger-ui-bundle.js.LICENSE.txt swagger-ui.css LICENSE NOTICE
