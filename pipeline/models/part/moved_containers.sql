-- The containers whose turns may change: of changed fillings, and of fillings and events of changed batches; and those
-- of changed events that name no loaded filling, and so hang on these turns.
-- Grain: one row per container.
-- reads: changed_rows, filling_shares, named_together, stage_fillings
-- writes: moved_containers
create or replace temp table moved_containers as
with changed_batches as (
    select distinct batch from changed_rows where table_name = 'batches' and batch is not null
),
loose as (
    select c.container
    from changed_rows as c
    where c.table_name in ('harvests', 'observations')
        and not exists (
            select f.line
            from stage_fillings as f
            inner join filling_shares as s on s.line = f.line
            where f.container = c.container and f.batch = c.batch
        )
)
select container from changed_rows where table_name = 'fillings' and container is not null
union
select container from loose where container is not null
union
select container from named_together where batch in (select batch from changed_batches)
