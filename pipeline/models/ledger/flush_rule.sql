-- After how many days without a picking does a new flush begin, where its cell is blank, and who says so? source: set (in
-- farm.toml), fitted (the farm's gaps part there) or usual. gaps, gaps_unsure: of containers, and how many may be either.
-- wrong: how many gaps are expected on the wrong side of it, over those between flushes (pipeline/stats/gaps.py).
-- Grain: one row.
-- reads: gap_counts
-- writes: flush_rule
create or replace table flush_rule as
select
    getvariable('new_flush_after_days')::integer as new_flush_after_days,
    getvariable('flush_rule_source')::varchar as source,
    coalesce(sum(gaps), 0)::integer as gaps,
    coalesce(sum(gaps) filter (where gap_days between getvariable('unsure_from') and getvariable('unsure_to')), 0)::integer
        as gaps_unsure,
    getvariable('gaps_wrong')::double as wrong
from gap_counts
