-- What was closed without a picking, and in how many soaks? mean_share, sd_share: of the shares lost of the soaks, in
-- %, for the interval that the loader adds.
-- Grain: one row per group.
-- reads: group_members, losses_of_group_members
-- writes: nothing
with contaminations as (
    select
        owner,
        count(*) filter (where contaminated_before_pick) as contaminated_before_pick,
        count(*) filter (where contaminated and not contaminated_before_pick) as contaminated_after_pick
    from group_members
    group by owner
)
select
    l.owner as group_id,
    l.members as units,
    l.not_yet as units_not_yet,
    l.lost,
    l.lost_pct,
    l.soaks,
    l.soaks_with_loss,
    c.contaminated_before_pick,
    c.contaminated_after_pick,
    l.mean_share,
    l.sd_share,
    l.least_share,
    l.most_share
from losses_of_group_members as l
inner join contaminations as c on c.owner = l.owner
order by l.owner
