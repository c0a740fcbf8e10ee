-- How long are the gaps between the pickings of one container, where a flush is blank? What was weighed for a whole batch
-- tells nothing of them.
-- Grain: one row per length of a gap, in days.
-- reads: filling_shares, picking_days
-- writes: gap_counts
create or replace temp table gap_counts as
select gap_days, count(*) as gaps
from picking_days
where gap_days is not null and place_line in (select line from filling_shares)
group by gap_days
