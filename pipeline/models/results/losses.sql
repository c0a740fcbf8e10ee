-- What was closed without a picking, and in how many soaks? mean_share, sd_share: of the shares lost of the soaks, in
-- %, for the interval that the runner adds.
-- Grain: one row per group.
-- reads: fates, unit_groups
-- writes: nothing
with found as (
    select g.group_id, f.*, f.finished and not f.picked as lost
    from unit_groups as g
    inner join fates as f on f.unit = g.unit
),
shares as (
    select group_id, soak_key, 100 * count(*) filter (where lost)::double / count(*) as share
    from found
    where finished or picked
    group by group_id, soak_key
),
soaks as (
    select
        group_id,
        count(*) as soaks,
        count(*) filter (where share > 0) as soaks_with_loss,
        avg(share order by soak_key) as mean_share,
        stddev_samp(share order by soak_key) as sd_share,
        min(share) as least_share,
        max(share) as most_share
    from shares
    group by group_id
),
counted as (
    select
        group_id,
        count(*) as units,
        count(*) filter (where not finished and not picked) as units_not_yet,
        count(*) filter (where lost) as lost,
        count(*) filter (where contaminated_before_pick) as contaminated_before_pick,
        count(*) filter (where contaminated and not contaminated_before_pick) as contaminated_after_pick
    from found
    group by group_id
)
select
    c.group_id,
    c.units,
    c.units_not_yet,
    c.lost,
    100 * c.lost::double / nullif(c.units - c.units_not_yet, 0) as lost_pct,
    coalesce(s.soaks, 0) as soaks,
    coalesce(s.soaks_with_loss, 0) as soaks_with_loss,
    c.contaminated_before_pick,
    c.contaminated_after_pick,
    s.mean_share,
    s.sd_share,
    s.least_share,
    s.most_share
from counted as c
left join soaks as s on s.group_id = c.group_id
order by c.group_id
