-- The rows that are in no figure at the moment: set aside, or waiting for another.
-- Grain: one row per such row.
-- reads: findings
-- writes: held_rows
create or replace temp view held_rows as
select distinct table_name, file, row
from findings
where level in ('set_aside', 'waiting')
