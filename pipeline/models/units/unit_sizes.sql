-- How many containers is each unit, and of which size? containers: of a whole batch its fillings, else
-- containers_filled; null where neither is known. size: kind and litres of one of them, blank where neither is written;
-- null where the fillings of a whole batch are unlike. litres: of all of them; null where one has none.
-- Grain: one row per unit.
-- reads: batches, filling_shares, stage_fillings, units, whole_units
-- writes: unit_sizes
create or replace temp table unit_sizes as
with cells as (
    select s.line, s.batch_line, f.kind, f.volume_l
    from filling_shares as s
    inner join stage_fillings as f on f.line = s.line
),
named as materialized (
    select kind, volume_l, concat_ws(' ', lower(kind), rtrim(rtrim(volume_l::varchar, '0'), '.') || ' L') as size
    from cells
    group by kind, volume_l
),
sizes as (
    select c.line, c.batch_line, n.size, c.volume_l
    from cells as c
    inner join named as n on n.kind is not distinct from c.kind and n.volume_l is not distinct from c.volume_l
),
together as (
    select
        s.batch_line,
        count(*) as containers,
        case when count(distinct s.size) = 1 then min(s.size) end as size,
        case when count(s.volume_l) = count(*) then sum(s.volume_l) end as litres
    from sizes as s
    inner join whole_units as w on w.batch_line = s.batch_line
    group by s.batch_line
)
select u.unit, 1 as containers, s.size, s.volume_l as litres
from units as u
inner join sizes as s on s.line = u.unit
where not u.whole
union all
select
    w.batch_line,
    coalesce(t.containers, b.containers_filled) as containers,
    case when t.batch_line is null then '' else t.size end as size,
    t.litres
from whole_units as w
inner join batches as b on b.line = w.batch_line
left join together as t on t.batch_line = w.batch_line
