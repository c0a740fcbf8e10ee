-- Puts the rows of EVENT that the part needs on its stage, in memory: those of its batches; of its containers where no
-- loaded batch is named; without a name; and the changed ones.
-- Grain: one row per row.
-- reads: batches, changed_rows, part_batches, part_containers, stage_EVENT
-- writes: stage_EVENT
insert into memory.stage_EVENT
select
    {stage columns of EVENT as s}
from draft.stage_EVENT as s
where s.batch in (select batch from part_batches)
    or (s.batch is null and s.container is null)
    or (
        s.container in (select container from part_containers)
        and (s.batch is null or s.batch not in (select batch from draft.batches where batch is not null))
    )
    or s.line in (select line from changed_rows where table_name = 'EVENT')
