-- Kits saved by earlier versions get what the contract came to require. All others stay
-- byte for byte.

-- +goose Up
UPDATE kits SET kit = jsonb_set(jsonb_set(kit::jsonb,
    '{totals,optional}', coalesce(kit::jsonb #> '{totals,optional}', jsonb_build_object(
      'amount_minor', (kit #>> '{totals,all,amount_minor}')::bigint - (kit #>> '{totals,required,amount_minor}')::bigint - (kit #>> '{totals,recommended,amount_minor}')::bigint,
      'currency', kit #>> '{totals,all,currency}'))),
    -- Whether an alternative was proven is not known any more.
    '{alternatives}', (SELECT coalesce(jsonb_agg('{"optimal": false}' || alternative ORDER BY place), '[]')
      FROM jsonb_array_elements(kit::jsonb -> 'alternatives') WITH ORDINALITY AS a (alternative, place)))
  WHERE kit #> '{totals,optional}' IS NULL
  OR EXISTS (SELECT FROM json_array_elements(kit -> 'alternatives') AS alternative WHERE alternative -> 'optimal' IS NULL);

-- A dry run leaves its key to the run that it is for.
UPDATE imports SET idempotency_key = NULL WHERE dry_run;

-- +goose Down
-- What earlier versions do not know they do not read.
