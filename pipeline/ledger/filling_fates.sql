-- Which rows of the fillings table can be counted, and which wait for their batch?
-- fate: loaded, set_aside, waiting (for waits_file, waits_row).
-- Grain: one row per staged row of fillings.
create or replace table filling_fates as
with usable as (
    select file, row, batch, container, cells,
        row_number() over (partition by cells order by file, row) as copy,
        first_value(file || ', row ' || row) over (partition by cells order by file, row) as first_place
    from stage_fillings
    where not faulty
),
keys as (
    select batch, container, count(*) as copies, string_agg(file || ', row ' || row, '; ' order by file, row) as places
    from usable
    where copy = 1
    group by batch, container
),
parents as (
    select
        batch,
        bool_or(fate = 'loaded') as loaded,
        arg_min(file, (file, row)) filter (where fate <> 'loaded') as root_file,
        arg_min(row, (file, row)) filter (where fate <> 'loaded') as root_row
    from batch_fates
    where batch is not null
    group by batch
),
judged as (
    select
        stage.file,
        stage.row,
        stage.batch,
        stage.container,
        stage.faulty,
        usable.copy,
        usable.first_place,
        keys.copies,
        keys.places,
        parents.batch is not null as parent_staged,
        coalesce(parents.loaded, false) as parent_loaded,
        parents.root_file,
        parents.root_row
    from stage_fillings as stage
    left join usable on usable.file = stage.file and usable.row = stage.row
    left join keys on keys.batch = stage.batch and keys.container = stage.container
    left join parents on parents.batch = stage.batch
),
ruled as (
    select
        *,
        case
            when faulty then 'cells'
            when copy > 1 then 'repeated'
            when copies > 1 then 'conflicting'
            when not parent_staged then 'unknown_batch'
            when not parent_loaded then 'waiting'
        end as verdict
    from judged
)
select
    file,
    row,
    batch,
    container,
    case when verdict is null then 'loaded' when verdict = 'waiting' then 'waiting' else 'set_aside' end as fate,
    case when verdict <> 'cells' then verdict end as rule,
    case
        when verdict = 'repeated' then first_place
        when verdict = 'conflicting' then places
        when verdict = 'waiting' then root_file || ', row ' || root_row
    end as detail,
    case when verdict = 'waiting' then root_file end as waits_file,
    case when verdict = 'waiting' then root_row end as waits_row
from ruled
order by file, row
