-- Which rows of the batches table cannot be counted? rule: why (null when its cells say so).
-- stage_row: the row's place on the stage, good for this refresh only. Suspects are found by an aggregate first.
-- Grain: one row per staged row of batches that is set aside.
create or replace temp table batch_faults as
with suspects as (
    select cells from stage_batches where not faulty group by cells having count(*) > 1
),
copies as (
    select
        rowid as stage_row,
        row_number() over (partition by cells order by file, row) as copy,
        first_value(file || ', row ' || row) over (partition by cells order by file, row) as first_place
    from stage_batches
    where not faulty and cells in (select cells from suspects)
),
repeated as (
    select stage_row, first_place from copies where copy > 1
),
keys as (
    select s.batch, string_agg(s.file || ', row ' || s.row, '; ' order by s.file, s.row) as places
    from stage_batches as s
    where not s.faulty and s.rowid not in (select stage_row from repeated)
    group by s.batch
    having count(*) > 1
)
select rowid as stage_row, file, row, batch, null::varchar as rule, null::varchar as detail
from stage_batches
where faulty
union all
select s.rowid, s.file, s.row, s.batch, 'repeated', r.first_place
from stage_batches as s
inner join repeated as r on r.stage_row = s.rowid
union all
select s.rowid, s.file, s.row, s.batch, 'conflicting', k.places
from stage_batches as s
inner join keys as k on k.batch = s.batch
where not s.faulty and s.rowid not in (select stage_row from repeated)
