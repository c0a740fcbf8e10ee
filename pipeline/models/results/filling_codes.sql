-- What do the fillings of each unit say in the columns of group_by (see filling_labels)? As numbers, which
-- filling_cells tells: they take a tenth of the room of texts. 0: fillings of a whole batch that do not agree.
-- Grain: one row per unit.
-- reads: filling_shares, labelled_units, stage_fillings
-- writes: nothing
select u.unit{filling codes of group_by}
from labelled_units as u
inner join stage_fillings as sf on sf.line = u.unit
where not u.whole
union all
select u.unit{agreed codes of group_by}
from labelled_units as u
inner join filling_shares as s on s.batch_line = u.batch_line
inner join stage_fillings as sf on sf.line = s.line
where u.whole
group by u.unit
order by unit
