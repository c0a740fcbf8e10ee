-- The rows of files that a refresh may change, as numbers of their cells: side -1 as they were before, 1 as they are
-- now.
-- Grain: one row per side, file and distinct row.
-- reads: nothing
-- writes: moved_cells
create or replace temp table moved_cells (
    side integer,
    table_name varchar,
    file varchar,
    cells ubigint,
    times bigint
)
