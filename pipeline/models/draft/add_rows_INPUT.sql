-- Puts the validated rows of files of INPUT, the frame `incoming`, on the stage.
-- Grain: one row per row that is not blank.
-- reads: incoming
-- writes: stage_INPUT
insert into stage_INPUT
select
    {stage columns of INPUT as i}
from incoming as i
