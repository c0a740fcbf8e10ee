-- What was lost without a picking of the traced containers, and of the rest? As losses.sql, by container. who: traced;
-- near, of the rest those inoculated at most near_days before or after a traced one; rest, all others (near among
-- them). mean_share, sd_share, least_share, most_share: of the shares lost of the soaks, in %.
-- Grain: one row per who; all three always.
-- reads: trace_scope
-- writes: nothing
with span as (
    select
        min(inoculated_on) - getvariable('near_days')::integer as first_day,
        max(inoculated_on) + getvariable('near_days')::integer as last_day
    from trace_scope
    where traced
),
members as (
    select 'traced' as who, soak_key, finished, picked, lost from trace_scope where traced
    union all
    select 'near', p.soak_key, p.finished, p.picked, p.lost
    from trace_scope as p
    inner join span as s on p.inoculated_on between s.first_day and s.last_day
    where not p.traced
    union all
    select 'rest', soak_key, finished, picked, lost from trace_scope where not traced
),
shares as (
    select who, soak_key, 100 * count(*) filter (where lost)::double / count(*) as share
    from members
    where finished or picked
    group by who, soak_key
),
soaks as (
    select
        who,
        count(*) as soaks,
        count(*) filter (where share > 0) as soaks_with_loss,
        avg(share order by soak_key) as mean_share,
        stddev_samp(share order by soak_key) as sd_share,
        min(share) as least_share,
        max(share) as most_share
    from shares
    group by who
),
counted as (
    select
        who,
        count(*) as containers,
        count(*) filter (where not finished and not picked) as not_yet,
        count(*) filter (where lost) as lost
    from members
    group by who
),
listed as (
    select unnest(['traced', 'near', 'rest']) as who, unnest([1, 2, 3]) as place
)
select
    l.who,
    coalesce(c.containers, 0) as containers,
    coalesce(c.not_yet, 0) as not_yet,
    coalesce(c.lost, 0) as lost,
    100 * c.lost::double / nullif(c.containers - c.not_yet, 0) as lost_pct,
    coalesce(s.soaks, 0) as soaks,
    coalesce(s.soaks_with_loss, 0) as soaks_with_loss,
    s.mean_share,
    s.sd_share,
    s.least_share,
    s.most_share
from listed as l
left join counted as c on c.who = l.who
left join soaks as s on s.who = l.who
order by l.place
