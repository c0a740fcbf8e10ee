-- How does each unit stand to its pins, in which group and out of which soak? Days in days.
-- Grain: one row per unit of a dated batch.
-- reads: unit_pinning
-- writes: nothing
select unit, group_id, batch_line, soak_key, soak_no, fate, days from unit_pinning order by unit
