"""Reads Prometheus' text format with its client library: standard input to JSON of families."""

import json
import sys

from prometheus_client.parser import text_string_to_metric_families

families = {}
for family in text_string_to_metric_families(sys.stdin.read()):
    if family.name in families or family.type == "unknown":
        sys.exit(f"{family.name}: twice, or without a type")
    families[family.name] = {
        "type": family.type,
        "help": family.documentation,
        "samples": [
            (",".join(f"{key}={value}" for key, value in sample.labels.items()), sample.value)
            for sample in family.samples
        ],
    }
json.dump(families, sys.stdout)
