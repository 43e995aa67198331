"""Usage: validate_records.py SCHEMA RECORDS. Holds every line of RECORDS against the JSON Schema;
prints what is wrong, a line each, and exits with 1 if anything is."""
import json
import sys

import jsonschema


def refuse(token):
    raise ValueError(f"{token} is not JSON (RFC 8259)")


schema = json.load(open(sys.argv[1], encoding="utf-8"))
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
found = 0
for number, line in enumerate(open(sys.argv[2], encoding="utf-8"), start=1):
    for error in validator.iter_errors(json.loads(line, parse_constant=refuse)):
        found += 1
        print(f"line {number}: {'/'.join(map(str, error.absolute_path))}: {error.message}")
sys.exit(1 if found else 0)
