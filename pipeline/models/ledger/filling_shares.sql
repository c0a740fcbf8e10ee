-- How much dry substrate is in each filling, and when was its container filled anew? Masses in g. rung: where the dry
-- mass comes from: 1 weighed, 2 from fill, 3 by fill, 4 by volume, 5 evenly; null where there is no dry mass. wet_g and
-- spawn_g are the filling's share of the batch's, in the proportion of its dry mass. Masses are kept to 1e-9 g; one of
-- a million kilograms or more is none. A batch with filling rows set aside shares nothing by rungs 3 to 5: what those
-- fillings hold is not known. refilled_on: also by a row that is set aside and says from which batch, for filled anew the
-- container was (refilled_line null then). Texts are dear to store: the view `fillings` shows the cells beside these
-- numbers.
-- Grain: one row per loaded filling.
-- reads: filling_days, loaded_fillings, rejected_fillings
-- writes: filling_shares
create or replace table filling_shares as
with rejected as (
    select distinct batch from rejected_fillings
),
rest as (
    -- Sums of doubles depend on their order, so the sums of a batch are taken over decimals.
    select
        own.batch_line,
        min(own.batch_dry_g) - coalesce(sum(own.own_g::decimal(28, 12)), 0)::double as left_g,
        bool_and(own.fill_kg is not null) filter (where own.own_rung is null) as all_fill,
        sum(own.fill_kg) filter (where own.own_rung is null) as sum_fill,
        bool_and(try_cast(own.volume_l as decimal(18, 6)) is not null) filter (where own.own_rung is null) as all_volume,
        sum(try_cast(own.volume_l as decimal(18, 6))) filter (where own.own_rung is null) as sum_volume,
        min(coalesce(own.kind, '')) filter (where own.own_rung is null)
            = max(coalesce(own.kind, '')) filter (where own.own_rung is null) as one_kind,
        count(*) filter (where own.own_rung is null) as others
    from loaded_fillings as own
    where own.batch not in (select batch from rejected)
        and own.batch_line in (select batch_line from loaded_fillings where own_rung is null)
    group by own.batch_line
),
loaded_turns as (
    select
        line,
        container,
        inoculated_on,
        lead(inoculated_on) over turn as refilled_on,
        lead(batch_line) over turn as refilled_line
    from loaded_fillings as own
    where inoculated_on is not null
    window turn as (partition by container order by inoculated_on, batch)
),
rejected_turns as (
    select t.line, min(d.day) as day
    from loaded_turns as t
    inner join filling_days as d on d.container = t.container and d.day > t.inoculated_on and d.line is null
    group by t.line
),
turns as (
    select
        t.line,
        least(t.refilled_on, r.day) as refilled_on,
        case when (r.day < t.refilled_on) is not true then t.refilled_line end as refilled_line
    from loaded_turns as t
    left join rejected_turns as r on r.line = t.line
),
rungs as (
    select
        own.*,
        turns.refilled_on,
        turns.refilled_line,
        case
            when own.own_rung is not null then own.own_rung
            when rest.left_g is null or rest.left_g <= 0 then null
            when rest.all_fill then 3
            when rest.all_volume then 4
            when rest.one_kind then 5
        end as chosen_rung,
        case
            when own.own_rung is not null then own.own_g
            when rest.left_g is null or rest.left_g <= 0 then null
            when rest.all_fill then rest.left_g * own.fill_kg::double / rest.sum_fill::double
            when rest.all_volume then rest.left_g * own.volume_l / rest.sum_volume::double
            when rest.one_kind then rest.left_g / rest.others
        end as chosen_g
    from loaded_fillings as own
    left join rest on rest.batch_line = own.batch_line
    left join turns on turns.line = own.line
),
shared as (
    select *, try_cast(chosen_g as decimal(18, 9)) as dry_g from rungs
)
select
    line,
    batch_line,
    inoculated_on,
    refilled_on,
    refilled_line,
    dry_g,
    (case when dry_g is not null then chosen_rung end)::utinyint as rung,
    case when batch_dry_g > 0 then try_cast(batch_wet_g * chosen_g / batch_dry_g as decimal(18, 9)) end as wet_g,
    case when batch_dry_g > 0 then try_cast(batch_spawn_g * chosen_g / batch_dry_g as decimal(18, 9)) end as spawn_g
from shared
