-- Which kinds of card are in use where, and which readers are wired the wrong way.
WITH fits AS (
    SELECT building, card_fit(bits, door) AS fit FROM reads GROUP BY building
), answers AS (
    SELECT building, door, card_answer(bits, fit, door, true) AS a
    FROM reads JOIN fits USING (building)
)
SELECT building, door, a['layout'] AS layout, a['reading'] AS reading, count(*) AS reads
FROM answers
WHERE a['verdict'] = 'identified'
GROUP BY building, door, a['layout'], a['reading']
HAVING count(*) >= 10
ORDER BY building, door, layout, reading;
