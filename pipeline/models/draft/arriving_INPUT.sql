-- The validated rows of files of INPUT that were on the stage before, the frame `incoming`. content: as in row_versions.
-- Grain: one row per row that is not blank.
-- reads: incoming
-- writes: arriving_INPUT
create or replace temp table arriving_INPUT as
select
    {stage columns of INPUT as i},
    hash(
    {stage columns of INPUT as i}
    ) as content
from incoming as i
