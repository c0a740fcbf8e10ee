-- Puts the rows of files of INPUT on the stage that are not there yet.
-- Grain: one row per such row.
-- reads: arriving_INPUT, stage_INPUT
-- writes: stage_INPUT
insert into stage_INPUT
select
    {stage columns of INPUT as a}
from arriving_INPUT as a
anti join stage_INPUT as s on s.line = a.line
