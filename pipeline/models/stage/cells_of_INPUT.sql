-- The cells of each row of INPUT as one number, also the unknown ones: two rows that say the same have the same.
-- Grain: one row per row that is not blank.
-- reads: stage_INPUT
-- writes: cells_of_INPUT
create view cells_of_INPUT as
select
    s.line,
    hash(
    {cells of INPUT as s}
    ) as cells
from stage_INPUT as s
