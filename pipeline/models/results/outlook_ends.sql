-- At which age (days) each container of a batch ended, null while it runs; number: its batch.
-- Grain: one row per container of outlook_containers.
-- reads: outlook_containers
-- writes: nothing
select number, closed_age from outlook_containers order by place
