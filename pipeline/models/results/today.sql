-- What is there to look at, to open, to pick, to end, to fill at the as-of date? Days are calendar days. usual_days:
-- the farm's own median of that wait, from five on; null where there are fewer.
-- Grain: one row per action and reason of a running or silent unit, and one per free container.
-- reads: closings, filling_shares, stage_fillings, unit_flushes, unit_pins, unit_seen, unit_states, unit_waits
-- writes: nothing
with waits as (
    -- From the last picking of a flush to the first of the next one; the other waits as unit_waits has them.
    select 'between_flushes' as wait, n.first_day - k.last_day as days
    from unit_flushes as k
    inner join unit_flushes as n on n.unit = k.unit and n.flush = k.flush + 1
    where n.first_day > k.last_day
    union all
    select wait, days
    from unit_waits
    where place in (1, 4) and state = 'noted'
),
usual as (
    -- Five waits make a usual one: common practice, no source.
    select wait, median(days)::double as usual_days from waits group by wait having count(*) >= 5
),
still as (
    select unit from unit_states where not finished
),
events as (
    select
        unit,
        min(seen_on) filter (where event = 'colonised') as colonised_on,
        min(seen_on) filter (where event = 'opened') as opened_on,
        max(seen_on) filter (where event = 'suspect') as suspect_on,
        max(seen_on) as last_seen
    from unit_seen
    where unit in (select unit from still)
    group by unit
),
pins as (
    select unit, max(seen_on) as pins_on, arg_max(flush, (seen_on, flush)) as flush
    from unit_pins
    where unit in (select unit from still)
    group by unit
),
running as (
    select
        s.unit,
        s.batch,
        s.container,
        s.inoculated_on,
        s.last_picked,
        s.highest_flush,
        e.colonised_on,
        e.opened_on,
        e.suspect_on,
        case when p.pins_on >= s.last_picked or s.last_picked is null then p.pins_on end as pins_on,
        p.flush as pins_flush,
        p.unit is not null or s.last_picked is not null as fruited,
        greatest(s.inoculated_on, s.last_picked, e.last_seen) as last_entry
    from unit_states as s
    left join events as e on e.unit = s.unit
    left join pins as p on p.unit = s.unit
    where not s.finished
),
heard as (
    select unit, batch, container, inoculated_on, last_picked, highest_flush, colonised_on, opened_on, suspect_on,
        pins_on, pins_flush, fruited, last_entry,
        getvariable('as_of') - last_entry >= getvariable('idle_days') as idle from running
),
found as (
    select unit, batch, container, 'look' as action, 'suspect' as reason, null::integer as flush, suspect_on as since,
        null::varchar as wait
    from heard
    where suspect_on >= last_entry
    union all
    select unit, batch, container, 'look', 'young pins', pins_flush, pins_on, null
    from heard
    where getvariable('as_of') - pins_on < getvariable('pins_ready_days')
    union all
    select unit, batch, container, 'look', 'not colonised', null, inoculated_on, 'inoculated_to_colonised'
    from heard
    where colonised_on is null and opened_on is null and not fruited and not idle
    union all
    select unit, batch, container, 'look', 'no pins', null, opened_on, 'opened_to_pins'
    from heard
    where opened_on is not null and not fruited and not idle
    union all
    select unit, batch, container, 'open', 'colonised', null, colonised_on, null
    from heard
    where colonised_on is not null and opened_on is null and not fruited and not idle
    union all
    select unit, batch, container, 'pick', 'pins', pins_flush, pins_on, null
    from heard
    where getvariable('as_of') - pins_on >= getvariable('pins_ready_days') and not idle
    union all
    select unit, batch, container, 'pick', 'flush due', highest_flush + 1, last_picked, 'between_flushes'
    from heard
    where pins_on is null and last_picked is not null and not idle
    union all
    select unit, batch, container, 'end', 'silent', null, last_entry, null
    from heard
    where idle
    union all
    select unit, batch, container, 'end', 'lapsed', null, coalesce(last_picked, inoculated_on), null
    from unit_states
    where lapsed
),
due as (
    select t.unit, t.batch, t.container, t.action, t.reason, t.flush, t.since, u.usual_days,
        getvariable('as_of') - t.since as days
    from found as t
    left join usual as u on u.wait = t.wait
    where case t.reason
        when 'not colonised' then getvariable('as_of') - t.since
            >= coalesce(u.usual_days, getvariable('colonising_days'))
        when 'no pins' then getvariable('as_of') - t.since >= coalesce(u.usual_days, getvariable('opened_days'))
        when 'flush due' then getvariable('as_of') - t.since >= u.usual_days
        else true
    end
),
latest as (
    select f.container, s.line, f.batch
    from filling_shares as s
    inner join stage_fillings as f on f.line = s.line
    where s.inoculated_on <= getvariable('as_of')
        -- Those that another loaded filling followed are not the latest, and are most.
        and (s.refilled_line is null or s.refilled_on > getvariable('as_of'))
    qualify row_number() over (partition by f.container order by s.inoculated_on desc, f.batch desc) = 1
),
free as (
    select l.line as unit, l.batch, l.container, c.closed_by as reason, c.closed_on as since
    from latest as l
    inner join closings as c on c.filling_line = l.line
    where c.closed_on <= getvariable('as_of')
),
listed as (
    select unit, batch, container, action, reason, flush, since, days, usual_days from due
    union all
    select unit, batch, container, 'fill', reason, null, since, getvariable('as_of') - since, null from free
)
select
    l.action,
    l.reason,
    f.room,
    f.position,
    l.container,
    l.batch,
    l.flush,
    l.since,
    l.days,
    l.usual_days
from listed as l
left join stage_fillings as f on f.line = l.unit
