-- How many containers is each unit, and of which size? containers: of a whole batch its fillings, else
-- containers_filled; null where neither is known. size: kind and litres of one of them, blank where neither is written;
-- null where the fillings of a whole batch are unlike. litres: of all of them; null where one has none.
-- Grain: one row per unit.
-- reads: batches, fillings, units
-- writes: unit_sizes
create or replace temp table unit_sizes as
with named as (
    select kind, volume_l, concat_ws(' ', lower(kind), rtrim(rtrim(volume_l::varchar, '0'), '.') || ' L') as size
    from fillings
    group by kind, volume_l
),
sizes as (
    select f.line, f.batch_line, n.size, f.volume_l
    from fillings as f
    inner join named as n on n.kind is not distinct from f.kind and n.volume_l is not distinct from f.volume_l
),
whole as (
    select
        u.unit,
        count(*) as containers,
        case when count(distinct s.size) = 1 then min(s.size) end as size,
        case when count(s.volume_l) = count(*) then sum(s.volume_l) end as litres
    from units as u
    inner join sizes as s on s.batch_line = u.batch_line
    where u.container is null
    group by u.unit
)
select u.unit, 1 as containers, s.size, s.volume_l as litres
from units as u
inner join sizes as s on s.line = u.unit
where u.container is not null
union all
select
    u.unit,
    coalesce(w.containers, b.containers_filled) as containers,
    case when w.unit is null then '' else w.size end as size,
    w.litres
from units as u
inner join batches as b on b.line = u.batch_line
left join whole as w on w.unit = u.unit
where u.container is null
