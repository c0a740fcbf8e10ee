"""What logbook, ledger and weigh page share about a picking as it is typed, and about a text that goes into a CSV."""

from __future__ import annotations

# A weight so many times the usual one, or more, is doubted; so is one so many times less. A digit too many with
# ordinary spread makes 8 to 12 times; an ounce figure read as grams is 1/28.
TIMES_MORE, TIMES_LESS = 8, 25
# So many pickings make a usual weight (their median): common practice, no source.
LEAST_PICKINGS = 5
# The most that one picking of a container can be, where too few were weighed to know the usual one: of each kg of dry
# mass in it, else of each kg packed in, else of each litre; in g where nothing of that is known. Our choice, no source.
MOST_PER_DRY_KG_G, MOST_PER_KG_G, MOST_PER_LITRE_G, MOST_UNKNOWN_G = 1500, 500, 200, 3000
# How many times the true weight stands there, by what slipped. Pound and ounce are exact (NIST SP 811, appendix B.8).
SLIPS = {
    "kg": 0.001,
    "lb": 1 / 453.59237,
    "oz": 1 / 28.349523125,
    "one digit too many": 10.0,
    "two digits too many": 100.0,
    "three digits too many": 1000.0,
}
# The same entry within so long, in ms, may be one that was typed twice, for its answer was not seen. Our choice, no
# source.
SAME_WITHIN_MS = 600_000

# So many days after the picking before a new flush begins, where farm.toml says nothing and the farm's own gaps do not
# part: common practice, no source.
NEW_FLUSH_AFTER_DAYS = 7
# Blank flush cells count as unsure where more gaps than this, over those between flushes, are expected on the wrong
# side: ours, by simulation (python -m tests.calibrate_flush).
MOST_WRONG = 0.03

# A spreadsheet takes a cell that begins with one of these as a formula (OWASP, "CSV Injection"); the last four are
# their full-width forms, which some spreadsheets take alike.
FORMULA_MARKS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
GUARD = "'"
# It may also cut a cell at a separator that is not the file's, and begin another one there (the same page of OWASP).
# Behind a space only = and @ count: "wet, -3 C" is what people write. A regular expression of Python and JavaScript.
WITHIN = rf"""([;,\t\r\n] *"*)%s({GUARD}*[=@\uff1d\uff20])|([;,\t\r\n]"*)%s({GUARD}*[+\-\uff0b\uff0d])"""
