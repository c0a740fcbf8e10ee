-- With which holes did each unit go into the flush asked for (through; from flush 2 on)? fresh holes: an opening was noted
-- for it. same holes: none was, and the unit's taped holes are written down, or another unit of its batch has such a
-- note; else nothing says that openings would have been noted. A blank flush of an opening is one after the highest
-- picked up to that day. Of a batch weighed as a whole only what was noted of all of it. A unit that is past the flush
-- before without having given it is in no row, for it never came so far that holes mattered.
-- Grain: one row per unit of which that is known.
-- reads: fillings, observation_assignments, unit_flushes, unit_seen, unit_states
-- writes: unit_holes
create or replace temp table unit_holes as
with opened as (
    select s.unit, s.seen_on, s.flush
    from unit_seen as s
    inner join unit_states as u on u.unit = s.unit
    where s.event = 'opened' and u.container is not null
    union all
    select o.batch_line, o.seen_on, o.flush
    from observation_assignments as o
    inner join unit_states as u on u.unit = o.batch_line
    where o.event = 'opened' and o.filling_line is null and o.count is null and o.seen_on <= getvariable('as_of')
),
picked as (
    select o.unit, o.seen_on, max(p.flush) as highest_flush
    from opened as o
    inner join unit_flushes as p on p.unit = o.unit and p.first_day <= o.seen_on
    where o.flush is null
    group by o.unit, o.seen_on
),
fresh as (
    select distinct o.unit
    from opened as o
    left join picked as p on p.unit = o.unit and p.seen_on = o.seen_on
    where coalesce(o.flush, p.highest_flush + 1, 1) = getvariable('through')
),
telling_batches as (
    select distinct u.batch_line from unit_states as u inner join fresh as f on f.unit = u.unit
),
taped as (
    select line as unit from fillings where holes_taped is not null
    union all
    select batch_line from fillings group by batch_line having count(*) = count(holes_taped)
)
select u.unit, case when f.unit is not null then 'fresh holes' else 'same holes' end as holes
from unit_states as u
left join fresh as f on f.unit = u.unit
left join unit_flushes as b on b.unit = u.unit and b.flush = getvariable('through') - 1
where (b.unit is not null or u.known_through < getvariable('through') - 1)
    and (
        f.unit is not null
        or u.unit in (select unit from taped)
        or u.batch_line in (select batch_line from telling_batches)
    )
