-- Which loaded pickings look wrong beside the others? Each rule first finds its suspects in an aggregate.
-- Grain: one row per rule that a loaded picking breaks.
insert into row_findings
with twice as (
    select hash(batch, container, picked_on, fresh_weight_g) as suspect
    from harvests
    where container is not null
    group by hash(batch, container, picked_on, fresh_weight_g)
    having count(*) > 1
),
twins as (
    select
        file,
        row,
        fresh_weight_g,
        string_agg(file || ', row ' || row, '; ') over same as places,
        count(*) over same as copies
    from harvests
    where container is not null and hash(batch, container, picked_on, fresh_weight_g) in (select suspect from twice)
    window same as (partition by batch, container, picked_on, fresh_weight_g order by file, row
        rows between unbounded preceding and unbounded following)
),
usual as (
    -- At least five pickings make a usual weight: common practice, no source.
    select
        container is null as pooled,
        quantile_disc(fresh_weight_g, 0.5)::double as weight_g
    from harvests
    group by container is null
    having count(*) >= 5
),
unlike as (
    select
        h.file,
        h.row,
        h.fresh_weight_g,
        u.weight_g,
        h.fresh_weight_g::double / u.weight_g as times
    from harvests as h
    inner join usual as u on u.pooled = (h.container is null)
    -- A tenfold weight is 8 to 12 times the usual with ordinary spread; an ounce figure read as grams is 1/28.
    where h.fresh_weight_g::double >= 8 * u.weight_g or h.fresh_weight_g::double <= u.weight_g / 25
),
units(unit, times) as (
    values ('kg', 0.001), ('lb', 1 / 453.59237), ('oz', 1 / 28.349523125), ('one digit too many', 10.0),
        ('two digits too many', 100.0), ('a thousandfold', 1000.0)
),
named as (
    select u.file, u.row, u.fresh_weight_g, u.weight_g, u.times,
        arg_min(units.unit, abs(ln(u.times / units.times))) as unit
    from unlike as u
    cross join units
    group by u.file, u.row, u.fresh_weight_g, u.weight_g, u.times
),
reversed as (
    -- The latest day of any earlier flush, where it lies after the first day of this one.
    select batch, container, flush, earlier_last
    from (
        select
            batch,
            container,
            flush,
            first_day,
            max(last_day) over (
                partition by batch, container order by flush rows between unbounded preceding and 1 preceding
            ) as earlier_last
        from picked_flushes
    )
    where earlier_last > first_day
),
pins as (
    select batch, container, flush, min(seen_on) as pins_on
    from observations
    where event = 'pins' and flush is not null and container is not null
    group by batch, container, flush
),
early as (
    select p.batch, p.container, p.flush, pins.pins_on
    from picked_flushes as p
    inner join pins on pins.batch = p.batch and pins.container = p.container and pins.flush = p.flush
    where p.first_day < pins.pins_on
),
late as (
    select p.batch, p.container, min(c.closed_on) as closed_on
    from picked_flushes as p
    inner join closings as c on c.batch = p.batch and c.container is not distinct from p.container
    where p.last_day > c.closed_on
    group by p.batch, p.container
)
select 'harvests', file, row, 'same_weight_twice', fresh_weight_g::varchar, places, null::varchar, null::integer
from twins
where copies > 1
union all
select 'harvests', file, row, 'unlike_usual', fresh_weight_g::varchar,
    case
        when times > 1 then printf('%.0f times the usual %.0f g: %s?', times, weight_g, unit)
        else printf('one %.0fth of the usual %.0f g: is it in %s?', 1 / times, weight_g, unit)
    end, null, null
from named
union all
select 'harvests', h.file, h.row, 'flush_disorder', h.flush::varchar, r.earlier_last::varchar, null, null
from harvests as h
inner join reversed as r on r.batch = h.batch and r.container is not distinct from h.container and r.flush = h.flush
where h.picked_on < r.earlier_last
union all
select 'harvests', h.file, h.row, 'before_pins', h.picked_on::varchar, e.pins_on::varchar, null, null
from harvests as h
inner join early as e on e.batch = h.batch and e.container = h.container and e.flush = h.flush
where h.picked_on < e.pins_on
union all
select 'harvests', h.file, h.row, 'after_closing', h.picked_on::varchar, l.closed_on::varchar, null, null
from harvests as h
inner join late as l on l.batch = h.batch and l.container is not distinct from h.container
where h.picked_on > l.closed_on
union all
select 'harvests', h.file, h.row, 'culls_above_weight', s.culled_g::varchar, h.fresh_weight_g::varchar, null, null
from stage_harvests as s
inner join harvests as h on h.file = s.file and h.row = s.row
where s.culled_g > s.fresh_weight_g
