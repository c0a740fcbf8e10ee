-- The validated rows of files of INPUT that were on the stage before, the frame `incoming`. cells: as in row_versions.
-- Grain: one row per row that is not blank.
-- reads: incoming
-- writes: arriving_INPUT
create or replace temp table arriving_INPUT as
select
    {stage columns of INPUT as i},
    hash(
    {stage columns of INPUT as i}
    ) as cells
from incoming as i
