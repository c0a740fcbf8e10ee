-- The batches that the outlook reads, in the order of their numbers. Mass in kg.
-- Grain: one row per batch of outlook_batches.
-- reads: outlook_batches
-- writes: nothing
select batch, inoculated_on, dry_kg, containers, substrate, strain from outlook_batches order by number
