-- The number of a row within its file, from its line: a line is its file's number and its own (pipeline/files/validate).
-- Grain: one row number per line.
-- reads: nothing
-- writes: row_of
create macro row_of(line) as (line & 4294967295)::integer
