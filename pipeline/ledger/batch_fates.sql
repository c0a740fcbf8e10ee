-- Which rows of the batches table can be counted?
-- fate: loaded, set_aside. rule: why it is set aside (null when its cells say so, or loaded).
-- Grain: one row per staged row of batches.
create or replace table batch_fates as
with usable as (
    select file, row, batch, cells,
        row_number() over (partition by cells order by file, row) as copy,
        first_value(file || ', row ' || row) over (partition by cells order by file, row) as first_place
    from stage_batches
    where not faulty
),
keys as (
    select batch, count(*) as copies, string_agg(file || ', row ' || row, '; ' order by file, row) as places
    from usable
    where copy = 1
    group by batch
)
select
    stage.file,
    stage.row,
    stage.batch,
    stage.inoculated_on,
    case when stage.faulty or usable.copy > 1 or keys.copies > 1 then 'set_aside' else 'loaded' end as fate,
    case
        when stage.faulty then null
        when usable.copy > 1 then 'repeated'
        when keys.copies > 1 then 'conflicting'
    end as rule,
    case when usable.copy > 1 then usable.first_place when keys.copies > 1 then keys.places end as detail
from stage_batches as stage
left join usable on usable.file = stage.file and usable.row = stage.row
left join keys on keys.batch = stage.batch
order by stage.file, stage.row
