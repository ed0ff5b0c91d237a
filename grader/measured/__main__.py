"""``python -m grader.measured`` prints the JSON Schema of a measurement, as the file beside this one holds it."""

import sys

from grader.measured.record import schema_json

sys.stdout.write(schema_json())
