-- Which loaded pickings look wrong beside the others? Each rule first finds its suspects in an aggregate.
-- Grain: one row per rule that a loaded picking breaks.
-- reads: closings, doubles, files, harvest_assignments, observation_assignments, picked_flushes, stage_harvests
-- writes: warn_harvests
create or replace temp table warn_harvests as
with assignments as not materialized (
    select line, coalesce(filling_line, batch_line) as place_line, filling_line is null as pooled, picked_on, fresh_weight_g, flush
    from harvest_assignments
),
flushes as not materialized (
    select coalesce(filling_line, batch_line) as place_line, flush, first_day, last_day from picked_flushes
),
suspected as (
    select p.line, p.place_line, p.picked_on, p.fresh_weight_g, f.file, row_of(p.line) as row
    from assignments as p
    inner join doubles as d on d.line = p.line
    inner join files as f on f.file_part = file_part_of(p.line)
),
twins as (
    select place_line, picked_on, fresh_weight_g, some_of(list(file || ', row ' || row order by file, row)) as rows_alike
    from suspected
    group by place_line, picked_on, fresh_weight_g
    having count(*) > 1
),
reversed as (
    -- The latest day of any earlier flush, where it lies after the first day of this one or is the same.
    select k.place_line, k.flush, max(e.last_day) as earlier_last
    from flushes as k
    inner join flushes as e on e.place_line = k.place_line and e.flush < k.flush and e.last_day >= k.first_day
    group by k.place_line, k.flush
),
pins as (
    select filling_line, flush, min(seen_on) as pins_on
    from observation_assignments
    where event = 'pins' and flush is not null and filling_line is not null
    group by filling_line, flush
),
early as (
    select p.place_line, p.flush, pins.pins_on
    from flushes as p
    inner join pins on pins.filling_line = p.place_line and pins.flush = p.flush
    where p.first_day < pins.pins_on
),
late as (
    select p.place_line, min(c.closed_on) as closed_on
    from flushes as p
    inner join closings as c on coalesce(c.filling_line, c.batch_line) = p.place_line
    where p.last_day > c.closed_on
    group by p.place_line
),
concerned as materialized (
    -- The pickings of these places, looked up once.
    select * from assignments
    where place_line in (
        select place_line from reversed union all select place_line from early union all select place_line from late
    )
),
two_flushes as (
    -- A container alone, for those that are weighed together may each be at a flush of its own.
    select place_line, picked_on, min(flush) as first_flush
    from concerned
    where not pooled and place_line in (select place_line from reversed)
    group by place_line, picked_on
    having min(flush) <> max(flush)
),
broken as (
    select s.line, 'same_weight_twice' as rule, s.fresh_weight_g::varchar as value, t.rows_alike as detail
    from suspected as s
    inner join twins as t
        on t.place_line = s.place_line and t.picked_on = s.picked_on and t.fresh_weight_g = s.fresh_weight_g
    union all
    select p.line, 'flush_disorder', p.flush::varchar, r.earlier_last::varchar
    from concerned as p
    inner join reversed as r on r.place_line = p.place_line and r.flush = p.flush
    where p.picked_on < r.earlier_last
    union all
    select p.line, 'two_flushes', p.flush::varchar, t.first_flush::varchar
    from concerned as p
    inner join two_flushes as t on t.place_line = p.place_line and t.picked_on = p.picked_on and t.first_flush < p.flush
    inner join stage_harvests as s on s.line = p.line and s.flush is not null
    union all
    select p.line, 'before_pins', p.picked_on::varchar, e.pins_on::varchar
    from concerned as p
    inner join early as e on e.place_line = p.place_line and e.flush = p.flush
    where p.picked_on < e.pins_on
    union all
    select p.line, 'after_closing', p.picked_on::varchar, l.closed_on::varchar
    from concerned as p
    inner join late as l on l.place_line = p.place_line
    where p.picked_on > l.closed_on
    union all
    select line, 'culls_above_weight', culled_g::varchar, rtrim(rtrim(fresh_weight_g::varchar, '0'), '.')
    from stage_harvests
    where culled_g > fresh_weight_g and line in (select line from harvest_assignments)
)
select 'harvests' as table_name, f.file, row_of(t.line) as row, t.rule, t.value, t.detail, null::varchar as waits_file,
    null::integer as waits_row
from broken as t
inner join files as f on f.file_part = file_part_of(t.line)
