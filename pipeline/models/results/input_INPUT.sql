-- Which rows of INPUT were read, as they are handed on? Also those that are set aside, so that the whole counts the same
-- again; a cell that could not be used is blank.
-- Grain: one row per row that is not blank.
-- reads: rows_of_INPUT
-- writes: nothing
select {columns of INPUT as r}
from rows_of_INPUT as r
order by r.file, r.row
