"""The pages: result tables in, HTML and charts out. Knows `schemas` only. The monthly report is not built yet."""
