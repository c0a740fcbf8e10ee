-- How many of MEMBERS were lost without a picking, and in how many soaks? mean_share, sd_share, least_share, most_share:
-- of the shares lost of the soaks, in %, for the interval of pipeline/stats/proportions.
-- Grain: one row per owner.
-- reads: MEMBERS
-- writes: losses_of_MEMBERS
create or replace temp view losses_of_MEMBERS as
with shares as (
    select owner, soak_key, 100 * count(*) filter (where lost)::double / count(*) as share
    from MEMBERS
    where finished or picked
    group by owner, soak_key
),
soaks as (
    select
        owner,
        count(*) as soaks,
        count(*) filter (where share > 0) as soaks_with_loss,
        avg(share order by soak_key) as mean_share,
        stddev_samp(share order by soak_key) as sd_share,
        min(share) as least_share,
        max(share) as most_share
    from shares
    group by owner
),
counted as (
    select
        owner,
        count(*) as members,
        count(*) filter (where not finished and not picked) as not_yet,
        count(*) filter (where lost) as lost
    from MEMBERS
    group by owner
)
select
    c.owner,
    c.members,
    c.not_yet,
    c.lost,
    100 * c.lost::double / nullif(c.members - c.not_yet, 0) as lost_pct,
    coalesce(s.soaks, 0) as soaks,
    coalesce(s.soaks_with_loss, 0) as soaks_with_loss,
    s.mean_share,
    s.sd_share,
    s.least_share,
    s.most_share
from counted as c
left join soaks as s on s.owner = c.owner
