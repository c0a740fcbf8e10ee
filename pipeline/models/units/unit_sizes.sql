-- How many containers is each unit, and of which size? containers: of a whole batch its fillings, else
-- containers_filled; null where neither is known. size: kind and litres of one of them, blank where neither is written;
-- null where the fillings of a whole batch are unlike. litres: of all of them; null where one has none.
-- Grain: one row per unit.
-- reads: batches, fillings, units
-- writes: unit_sizes
create or replace temp table unit_sizes as
with held as (
    select
        u.unit,
        concat_ws(' ', lower(f.kind), format('{:g}', f.volume_l::double) || ' L') as size,
        f.volume_l
    from units as u
    inner join fillings as f on f.batch_line = u.batch_line and (u.container is null or f.line = u.unit)
),
sized as (
    select
        unit,
        count(*) as containers,
        case when count(distinct size) = 1 then min(size) end as size,
        case when count(volume_l) = count(*) then sum(volume_l) end as litres
    from held
    group by unit
)
select
    u.unit,
    coalesce(h.containers, b.containers_filled) as containers,
    case when h.unit is null then '' else h.size end as size,
    h.litres
from units as u
inner join batches as b on b.line = u.batch_line
left join sized as h on h.unit = u.unit
