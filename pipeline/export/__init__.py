"""Handing the books on: every table with its contract, as a workbook or as files of an open format."""
