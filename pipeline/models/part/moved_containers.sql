-- The containers whose turns may change: of changed fillings, and of fillings and events of changed batches; and those
-- of changed events that name no loaded filling, and so hang on these turns.
-- Grain: one row per container.
-- reads: changed_rows, filling_shares, named_together, stage_fillings
-- writes: moved_containers
create or replace temp table moved_containers as
with changed_batches as (
    select distinct batch from changed_rows where table_name = 'batches' and batch is not null
),
events as (
    select batch, container from changed_rows where table_name in ('harvests', 'observations')
),
named as (
    -- Few, so that neither all fillings nor all shares are joined.
    select line, batch, container from stage_fillings where batch in (select batch from events)
),
loaded as (
    select n.batch, n.container from named as n inner join filling_shares as s on s.line = n.line
),
loose as (
    select e.container from events as e anti join loaded as l on l.batch = e.batch and l.container = e.container
)
select container from changed_rows where table_name = 'fillings' and container is not null
union
select container from loose where container is not null
union
select container from named_together where batch in (select batch from changed_batches)
