-- Whose losses does a trace hold against each other? owner: traced; near, of the rest those inoculated at most near_days
-- before or after a traced one; rest, all others (near among them).
-- Grain: one row per owner and place of its.
-- reads: trace_scope
-- writes: trace_members
create or replace temp view trace_members as
with span as (
    select
        min(inoculated_on) - getvariable('near_days')::integer as first_day,
        max(inoculated_on) + getvariable('near_days')::integer as last_day
    from trace_scope
    where traced
)
select 'traced' as owner, soak_key, finished, picked, lost
from trace_scope
where traced
union all
select 'near' as owner, p.soak_key, p.finished, p.picked, p.lost
from trace_scope as p
inner join span as s on p.inoculated_on between s.first_day and s.last_day
where not p.traced
union all
select 'rest' as owner, soak_key, finished, picked, lost
from trace_scope
where not traced
