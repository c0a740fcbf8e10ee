-- Which pickings and observations agree with another in filling, day and mass? Repeats, and weights written twice, are
-- among them: one aggregate finds the suspects, and only they are looked at.
-- Grain: one row per staged picking or observation that has its place, is not faulty, and agrees with another.
-- reads: assignments
-- writes: doubles
create or replace temp table doubles as
with keyed as not materialized (
    select line, hash(place_line, day, fresh_weight_g) as suspect from assignments
),
suspects as (
    select suspect from keyed group by suspect having count(*) > 1
)
select line from keyed where suspect in (select suspect from suspects)
