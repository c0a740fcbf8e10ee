-- For which things is no price written anywhere on the farm, so that they count as nothing? See unpriced.
-- Grain: one row per such thing.
-- reads: unpriced
-- writes: nothing
select item from unpriced order by item
