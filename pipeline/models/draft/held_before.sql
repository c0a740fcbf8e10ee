-- The rows that were in no figure before a refresh.
-- Grain: one row per such row.
-- reads: held_rows
-- writes: held_before
create or replace temp table held_before as
select table_name, file, row
from held_rows
