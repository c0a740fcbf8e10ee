-- Puts the rows of EVENT that the part needs on its stage, in memory: those of its batches; of its containers where no
-- loaded batch is named; without a name; and the changed ones.
-- Grain: one row per row.
-- reads: batches, changed_rows, part_batches, part_containers, stage_EVENT
-- writes: stage_EVENT
insert into memory.stage_EVENT
select
    {stage columns of EVENT as s}
from draft.stage_EVENT as s
where s.line in (
    -- First the lines alone: quicker than to judge each row by all of these.
    select e.line from draft.stage_EVENT as e where e.batch in (select batch from part_batches)
    union all
    select e.line from draft.stage_EVENT as e where e.batch is null and e.container is null
    union all
    select e.line
    from draft.stage_EVENT as e
    where e.container in (select container from part_containers)
        and (e.batch is null or e.batch not in (select batch from draft.batches where batch is not null))
    union all
    select line from changed_rows where table_name = 'EVENT'
)
