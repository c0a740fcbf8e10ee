-- The rows of files that a refresh may change: side -1 as they were before, 1 as they are now. cells: what stands in
-- the row's cells, as one number, as in cells_of_harvests and its like; content: all that the stage holds of it.
-- Grain: one row per side and row.
-- reads: nothing
-- writes: row_versions
create or replace temp table row_versions (
    side integer,
    table_name varchar,
    file varchar,
    line ubigint,
    cells ubigint,
    content ubigint,
    batch varchar,
    container varchar,
    inoculated_on date
)
