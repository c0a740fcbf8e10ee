-- The names of the batches for which a refresh decides anew: those of changed rows, those with a filling of a container
-- whose turns may change, and those of the days of changed batches, which may share a soak with them.
-- Grain: one row per name.
-- reads: changed_rows, moved_containers, stage_batches, stage_fillings
-- writes: part_batches
create or replace temp table part_batches as
select batch from changed_rows where batch is not null
union
select batch from stage_fillings where container in (select container from moved_containers) and batch is not null
union
select batch
from stage_batches
where batch is not null
    and inoculated_on in (
        select inoculated_on from changed_rows where table_name = 'batches'
        union all
        -- A row that was not changed itself, but whose batch is there twice now, or no longer is.
        select inoculated_on
        from stage_batches
        where batch in (select batch from changed_rows where table_name = 'batches')
    )
