"""Reads Prometheus' text format with its client library: standard input to JSON of families.

Ends with an error where the text breaks the naming rules of prometheus.io/docs/practices/naming and
prometheus.io/docs/instrumenting/exposition_formats: help and type once and before the samples, no sample
twice, base units at the end of the name, `_total` for counters and for nothing else.
"""

import json
import re
import sys

from prometheus_client.parser import text_string_to_metric_families

# Units that are not base units, and parts of a name that say what a type does.
NOT_BASE = "milliseconds|minutes|hours|days|weeks|percent|bytes_per|kilobytes|fahrenheit|millimeters|inches"
KINDS = "gauge|counter|histogram|summary|bucket|count|sum"
BASE = ("seconds", "celsius", "meters", "bytes", "ratio")


def wrong(why):
    sys.exit(f"tests/peers/metrics.py: {why}")


text = sys.stdin.read()
if not text.endswith("\n"):
    wrong("the last line has no end")
said = {}
for line in text.splitlines():
    if line.startswith("# "):
        what, name, rest = line[2:].split(" ", 2)
        if (what, name) in said:
            wrong(f"{name}: {what} twice")
        said[what, name] = rest
        continue
    name = re.match("[a-z_]*", line).group(0)
    if ("HELP", name) not in said or ("TYPE", name) not in said:
        wrong(f"{line}: before its help and type, or without them")
    if (said["TYPE", name] == "counter") != name.endswith("_total"):
        wrong(f"{name} is a {said['TYPE', name]}")
    stem = name.removesuffix("_total").removesuffix("_info")
    if not re.fullmatch("hatchbell(_[a-z]+)+", name) or re.search(f"_({NOT_BASE}|{KINDS})(_|$)", name):
        wrong(f"{name}: not a name by the rules")
    if any(f"_{unit}_" in f"{stem}_" and not stem.endswith(f"_{unit}") for unit in BASE):
        wrong(f"{name}: its unit is not at the end")
    if "_timestamp" in name and not name.endswith("_timestamp_seconds"):
        wrong(f"{name}: an instant is in seconds")

families, samples = {}, set()
for family in text_string_to_metric_families(text):
    if family.name in families or family.type == "unknown":
        wrong(f"{family.name}: twice, or without a type")
    for sample in family.samples:
        key = (sample.name, *sorted(sample.labels.items()))
        if key in samples:
            wrong(f"{key}: twice")
        samples.add(key)
    families[family.name] = {
        "type": family.type,
        "help": family.documentation,
        "samples": [
            (",".join(f"{key}={value}" for key, value in sample.labels.items()), sample.value)
            for sample in family.samples
        ],
    }
json.dump(families, sys.stdout)
