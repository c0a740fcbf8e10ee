-- The rows of files that a refresh may change: side -1 as they were before, 1 as they are now. cells: all that the stage
-- holds of a row, as one number.
-- Grain: one row per side and row.
-- reads: nothing
-- writes: row_versions
create or replace temp table row_versions (
    side integer,
    table_name varchar,
    line ubigint,
    cells ubigint,
    batch varchar,
    container varchar,
    inoculated_on date
)
