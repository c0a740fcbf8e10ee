-- In which days did each unit stand, by month? followed: whether up to the day to which a comparison follows it: its last
-- picking that counts where it came to the flush asked for, the age asked for, or else its end. A month that holds that
-- day is parted there. containers: as in unit_needs; lacks: the column that is blank where their number is not known.
-- Grain: one row per unit of a dated batch, month, and whether it is followed.
-- reads: counted_pickings, unit_needs, unit_states
-- writes: unit_stays
create or replace temp table unit_stays as
with last_counted as (
    select unit, max(picked_on) as picked_on from counted_pickings group by unit
),
stays as (
    select
        n.unit,
        n.quantity as containers,
        n.lacks,
        n.inoculated_on,
        s.highest_flush >= getvariable('through') as came_to_flush,
        coalesce(l.picked_on, s.first_picked) as last_counted_on,
        case
            when s.finished then greatest(least(s.closed_on, s.lapses_on), n.inoculated_on)
            else getvariable('as_of')::date
        end as ended_on
    from unit_needs as n
    inner join unit_states as s on s.unit = n.unit
    left join last_counted as l on l.unit = n.unit
    where n.item = 'container_day'
),
followed as (
    select
        unit,
        containers,
        lacks,
        inoculated_on,
        ended_on,
        least(
            ended_on,
            case
                when getvariable('to_day') is not null then inoculated_on + getvariable('to_day')::integer
                when came_to_flush then last_counted_on
                else ended_on
            end
        ) as followed_to
    from stays
),
months as (
    select
        unit,
        containers,
        lacks,
        inoculated_on,
        ended_on,
        followed_to,
        unnest(
            generate_series(date_trunc('month', inoculated_on), date_trunc('month', ended_on), interval 1 month)
        )::date as month
    from followed
),
spans as (
    select
        unit,
        containers,
        lacks,
        month,
        followed_to,
        greatest(month, inoculated_on) as from_on,
        least((month + interval 1 month)::date, ended_on) as before_on
    from months
)
select unit, month, true as followed, from_on, least(before_on, followed_to) as before_on, containers, lacks
from spans
where followed_to > from_on or followed_to = before_on
union all
select unit, month, false, greatest(from_on, followed_to), before_on, containers, lacks
from spans
where followed_to < before_on
