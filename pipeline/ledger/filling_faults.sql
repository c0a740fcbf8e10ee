-- Which rows of the fillings table cannot be counted, or wait for their batch?
-- fate: set_aside, or waiting (for waits_file, waits_row). rule: why (null when its cells say so).
-- Grain: one row per staged row of fillings that is not loaded.
create or replace temp table filling_faults as
with suspects as (
    select cells from stage_fillings where not faulty group by cells having count(*) > 1
),
copies as (
    select
        rowid as stage_row,
        row_number() over (partition by cells order by file, row) as copy,
        first_value(file || ', row ' || row) over (partition by cells order by file, row) as first_place
    from stage_fillings
    where not faulty and cells in (select cells from suspects)
),
repeated as (
    select stage_row, first_place from copies where copy > 1
),
keys as (
    select s.batch, s.container, string_agg(s.file || ', row ' || s.row, '; ' order by s.file, s.row) as places
    from stage_fillings as s
    where not s.faulty and s.rowid not in (select stage_row from repeated)
    group by s.batch, s.container
    having count(*) > 1
),
roots as (
    select batch, arg_min(file, (file, row)) as file, arg_min(row, (file, row)) as row
    from batch_faults
    where batch is not null
    group by batch
),
orphans as (
    select s.rowid as stage_row, roots.file, roots.row
    from stage_fillings as s
    anti join batches as b on b.batch = s.batch
    left join roots on roots.batch = s.batch
    where not s.faulty
),
ruled as (
    select
        s.rowid as stage_row,
        s.file,
        s.row,
        s.batch,
        s.container,
        case
            when s.faulty then 'cells'
            when r.stage_row is not null then 'repeated'
            when k.batch is not null then 'conflicting'
            when o.stage_row is not null and o.file is null then 'unknown_batch'
            when o.stage_row is not null then 'waiting'
        end as verdict,
        r.first_place,
        k.places,
        o.file as root_file,
        o.row as root_row
    from stage_fillings as s
    left join repeated as r on r.stage_row = s.rowid
    left join keys as k on k.batch = s.batch and k.container = s.container
    left join orphans as o on o.stage_row = s.rowid
)
select
    stage_row,
    file,
    row,
    batch,
    container,
    case when verdict = 'waiting' then 'waiting' else 'set_aside' end as fate,
    case when verdict <> 'cells' then verdict end as rule,
    case verdict
        when 'repeated' then first_place
        when 'conflicting' then places
        when 'waiting' then root_file || ', row ' || root_row
    end as detail,
    case when verdict = 'waiting' then root_file end as waits_file,
    case when verdict = 'waiting' then root_row end as waits_row
from ruled
where verdict is not null
