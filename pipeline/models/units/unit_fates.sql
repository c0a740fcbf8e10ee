-- What became of each unit: picked or not, ended or not, and by what? soak_key: the soak it came out of, or its own
-- batch.
-- Grain: one row per unit.
-- reads: batches, unit_states
-- writes: unit_fates
create or replace temp view unit_fates as
select
    s.unit,
    s.batch_line,
    b.soak_key,
    s.finished,
    s.highest_flush > 0 as picked,
    coalesce(s.closed_by = 'contaminated', false) as contaminated,
    s.contaminated_before_pick,
    case
        when s.closed_by = 'contaminated' then coalesce(s.cause, '')
        else coalesce(s.closed_by, 'lapsed')
    end as cause
from unit_states as s
inner join batches as b on b.line = s.batch_line
