-- When and by what did each filling, and each batch as a whole, end? closed_by: contaminated, emptied, refilled. A
-- batch-level event closes all its containers when its count is blank, or on the day the counts add up to them. A filling
-- that is noted as contaminated after its container was filled anew was so by that day.
-- Grain: one row per filling or batch (filling_line null) that ended.
-- reads: batches, filling_shares, observation_assignments
-- writes: closings
create or replace table closings as
with events as (
    select batch_line, filling_line, seen_on, event, cause, count
    from observation_assignments
    where event in ('contaminated', 'emptied')
),
containers as (
    select b.line as batch_line, coalesce(nullif(count(f.line), 0), min(b.containers_filled)) as containers
    from batches as b
    left join filling_shares as f on f.batch_line = b.line
    where b.line in (select batch_line from events where filling_line is null)
    group by b.line
),
cumulated as (
    select
        e.batch_line,
        e.seen_on,
        e.event,
        e.cause,
        e.count is null
            or coalesce(sum(e.count) over (partition by e.batch_line order by e.seen_on) >= c.containers, false) as reached
    from events as e
    inner join containers as c on c.batch_line = e.batch_line
    where e.filling_line is null
),
ends as (
    select
        e.batch_line,
        e.filling_line,
        case when e.event = 'contaminated' then least(e.seen_on, f.refilled_on) else e.seen_on end as day,
        e.event,
        e.cause
    from events as e
    inner join filling_shares as f on f.line = e.filling_line
    union all
    select f.batch_line, f.line, w.seen_on, w.event, w.cause
    from filling_shares as f
    inner join cumulated as w on w.batch_line = f.batch_line and w.reached
    union all
    select batch_line, line, refilled_on, 'refilled', null
    from filling_shares
    where refilled_on is not null
    union all
    select batch_line, null, seen_on, event, cause
    from cumulated
    where reached
),
first_ends as (
    -- Several ends on the first day: thrown out counts before emptied, emptied before filled anew.
    select
        batch_line,
        filling_line,
        min(datediff('day', date '1900-01-01', day) * 4
            + case event when 'contaminated' then 0 when 'emptied' then 1 else 2 end) as day_and_event
    from ends
    group by batch_line, filling_line
),
causes as (
    select batch_line, filling_line, day, min(cause) as cause
    from (
        select batch_line, filling_line, day, cause from ends where event = 'contaminated'
        union all
        -- A whole batch has all the observations of its batch, whatever their count.
        select batch_line, null, seen_on, cause from events where event = 'contaminated'
    )
    where cause is not null
    group by batch_line, filling_line, day
)
select
    f.batch_line,
    f.filling_line,
    date '1900-01-01' + (f.day_and_event // 4)::integer as closed_on,
    case f.day_and_event % 4 when 0 then 'contaminated' when 1 then 'emptied' else 'refilled' end as closed_by,
    case when f.day_and_event % 4 = 0 then c.cause end as cause
from first_ends as f
left join causes as c
    on c.batch_line = f.batch_line
    and c.filling_line is not distinct from f.filling_line
    and c.day = date '1900-01-01' + (f.day_and_event // 4)::integer
