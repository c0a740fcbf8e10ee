"""The pages: result tables in, HTML and charts out. Knows `schemas` only.

`page` renders the monthly report of a `month.Month`, from the `sections`; `sheets` has what hangs by the shelves.
"""
