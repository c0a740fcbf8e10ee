-- What was lost without a picking of the traced containers, and of the rest? As losses.sql, by container. who: traced,
-- near or rest: see trace_members.sql. mean_share, sd_share, least_share, most_share: of the shares lost of the soaks,
-- in %.
-- Grain: one row per who; all three always.
-- reads: losses_of_trace_members
-- writes: nothing
with listed as (
    select unnest(['traced', 'near', 'rest']) as who, unnest([1, 2, 3]) as place
)
select
    w.who,
    coalesce(l.members, 0) as containers,
    coalesce(l.not_yet, 0) as not_yet,
    coalesce(l.lost, 0) as lost,
    l.lost_pct,
    coalesce(l.soaks, 0) as soaks,
    coalesce(l.soaks_with_loss, 0) as soaks_with_loss,
    l.mean_share,
    l.sd_share,
    l.least_share,
    l.most_share
from listed as w
left join losses_of_trace_members as l on l.owner = w.who
order by w.place
