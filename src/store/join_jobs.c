/*
 * Jobs made apart into one. Everything is known by a key made of its content, so what is there already is passed over
 * and row numbers never matter. Three kinds of rows:
 *   surveys with their parts: copied whole under new row numbers, through maps of old to new numbers;
 *   rows that carry a key themselves (as-built, verdicts): copied as they are;
 *   history: added at the end of the chain here, which is computed anew; an event keeps its own key.
 */
#include "store_internal.h"

#include <assert.h>
#include <string.h>
#include <sys/stat.h>

/* Rows that stand by their own key. */
static const struct {
    const char *table, *columns;
    size_t counter; /* in struct sm_store_merged */
} keyed[] = {
    {"as_built", SM_STORE__AS_BUILT_COLUMNS, offsetof(struct sm_store_merged, n_as_built)},
    {"decision",
     "key, survey_key, at, who, act, observation, of_key, time_s, distance_m, start_m, end_m, code, ch1, ch2, q1, q2,"
     " clock_from_h, clock_to_h, treatment, reading, box_x_px, box_y_px, box_width_px, box_height_px, rule, value, reason",
     offsetof(struct sm_store_merged, n_decisions)},
    {"verdict", "key, segment, survey_key, repair, word, remark, said_at, who",
     offsetof(struct sm_store_merged, n_verdicts)},
};

static const char begin_sql[] =
    "DELETE FROM temp.survey_map; DELETE FROM temp.observation_map; DELETE FROM temp.repair_map;"
    "INSERT INTO main.segment (name) SELECT DISTINCT g.name FROM other.survey s JOIN other.segment g USING (segment_id)"
    "  WHERE s.key NOT IN (SELECT key FROM main.survey) ORDER BY g.name ON CONFLICT DO NOTHING;"
    "INSERT INTO temp.survey_map (old_id, key) SELECT survey_id, key FROM other.survey"
    "  WHERE key NOT IN (SELECT key FROM main.survey);"
    "INSERT INTO main.survey (key, segment_id, kind, date, operator, stored_at, from_node, to_node, length_m, diameter_mm,"
    "  pipe_unit_length_m, material, flow)"
    "  SELECT s.key, m.segment_id, s.kind, s.date, s.operator, s.stored_at, s.from_node, s.to_node, s.length_m,"
    "         s.diameter_mm, s.pipe_unit_length_m, s.material, s.flow"
    "    FROM temp.survey_map x JOIN other.survey s ON s.survey_id = x.old_id JOIN other.segment g USING (segment_id)"
    "    JOIN main.segment m ON m.name = g.name ORDER BY s.stored_at, s.key;"
    "UPDATE temp.survey_map SET new_id = (SELECT survey_id FROM main.survey s WHERE s.key = survey_map.key);";

static const char parts_sql[] =
    "INSERT INTO temp.observation_map (old_id, new_id) SELECT a.observation_id, b.observation_id"
    "  FROM temp.survey_map x JOIN other.observation a ON a.survey_id = x.old_id"
    "  JOIN main.observation b ON b.survey_id = x.new_id AND b.ordinal = a.ordinal;"
    "INSERT INTO temp.repair_map (old_id, new_id) SELECT a.repair_id, b.repair_id"
    "  FROM temp.survey_map x JOIN other.repair a ON a.survey_id = x.old_id"
    "  JOIN main.repair b ON b.survey_id = x.new_id AND b.ordinal = a.ordinal;"
    "INSERT INTO main.target SELECT x.new_id, t.ordinal, t.start_um, t.end_um"
    "  FROM other.target t JOIN temp.observation_map x ON x.old_id = t.observation_id;"
    "INSERT INTO main.unrepaired SELECT x.new_id, t.ordinal, t.reason"
    "  FROM other.unrepaired t JOIN temp.observation_map x ON x.old_id = t.observation_id;"
    "INSERT INTO main.repair_observation SELECT r.new_id, t.relation, t.ordinal, o.new_id"
    "  FROM other.repair_observation t JOIN temp.repair_map r ON r.old_id = t.repair_id"
    "  JOIN temp.observation_map o ON o.old_id = t.observation_id;"
    "INSERT INTO main.repair_work SELECT r.new_id, t.ordinal, t.work"
    "  FROM other.repair_work t JOIN temp.repair_map r ON r.old_id = t.repair_id;";

static const char others_sql[] =
    "INSERT INTO main.as_built_finding SELECT * FROM other.as_built_finding"
    "  WHERE as_built_key NOT IN (SELECT as_built_key FROM main.as_built_finding);"
    "INSERT OR IGNORE INTO main.input_content SELECT * FROM other.input_content;"
    "INSERT OR IGNORE INTO main.reread SELECT * FROM other.reread;";

/*
 * Which run counts: what either job says is superseded is; of runs over one recording that still both count, the one
 * stored last (then by key, so that every order of merging ends alike).
 */
static const char supersede_sql[] =
    "UPDATE main.survey SET superseded_by ="
    "  (SELECT m.survey_id FROM other.survey a JOIN other.survey b ON b.survey_id = a.superseded_by"
    "     JOIN main.survey m ON m.key = b.key WHERE a.key = main.survey.key)"
    "  WHERE superseded_by IS NULL"
    "    AND key IN (SELECT key FROM other.survey WHERE superseded_by IS NOT NULL);"
    "CREATE TEMP TABLE recording AS SELECT s.survey_id, s.stored_at, s.key,"
    "  s.kind || s.segment_id || (SELECT group_concat(role || sha256, ' ') FROM"
    "    (SELECT role, sha256 FROM main.input i WHERE i.survey_id = s.survey_id AND role IN ('video', 'log')"
    "      ORDER BY role, ordinal)) AS name"
    "  FROM main.survey s WHERE s.superseded_by IS NULL AND s.segment_id IN"
    "    (SELECT n.segment_id FROM temp.survey_map x JOIN main.survey n ON n.survey_id = x.new_id);"
    "CREATE INDEX temp.recording_by_name ON recording (name);"
    "UPDATE main.survey SET superseded_by ="
    "  (SELECT b.survey_id FROM temp.recording a JOIN temp.recording b ON b.name = a.name"
    "    WHERE a.survey_id = main.survey.survey_id ORDER BY b.stored_at DESC, b.key DESC LIMIT 1)"
    "  WHERE survey_id IN (SELECT a.survey_id FROM temp.recording a JOIN temp.recording b ON b.name = a.name"
    "    WHERE (b.stored_at, b.key) > (a.stored_at, a.key));"
    "DROP TABLE temp.recording;";

static const char maps_sql[] =
    "CREATE TEMP TABLE IF NOT EXISTS survey_map (old_id INTEGER PRIMARY KEY, key TEXT NOT NULL, new_id INTEGER);"
    "CREATE TEMP TABLE IF NOT EXISTS observation_map (old_id INTEGER PRIMARY KEY, new_id INTEGER NOT NULL);"
    "CREATE TEMP TABLE IF NOT EXISTS repair_map (old_id INTEGER PRIMARY KEY, new_id INTEGER NOT NULL);";

/* A script made of words of ours. */
static enum sm_status run_text(struct sm_store *store, struct sm_text *sql, struct sm_error *err)
{
    enum sm_status status = sql->failed ? sm_store__no_memory(err) : sm_store__script(store, sql->data, err);
    sm_text_release(sql);
    return status;
}

static enum sm_status copy_surveys(struct sm_store *store, struct sm_store_merged *added, struct sm_error *err)
{
    int64_t n = 0;
    enum sm_status status = sm_store__script(store, begin_sql, err);
    if (status == SM_OK) {
        status = sm_store__get_int(store, &n, "SELECT count(*) FROM temp.survey_map", err);
        added->n_surveys += n;
    }
    for (size_t i = 0; status == SM_OK && n && i < SM_STORE__N_PARTS; i++) {
        struct sm_text sql = {0};
        sm_text_addf(&sql,
                     "INSERT INTO main.%s (survey_id, %s) SELECT x.new_id, %s FROM temp.survey_map x"
                     " JOIN other.%s t ON t.survey_id = x.old_id ORDER BY x.new_id",
                     sm_store__parts[i].table, sm_store__parts[i].columns, sm_store__parts[i].columns, sm_store__parts[i].table);
        status = run_text(store, &sql, err);
    }
    return status == SM_OK && n ? sm_store__script(store, parts_sql, err) : status;
}

static enum sm_status copy_keyed(struct sm_store *store, struct sm_store_merged *added, struct sm_error *err)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < sizeof keyed / sizeof *keyed; i++) {
        struct sm_text sql = {0};
        sm_text_addf(&sql,
                     "INSERT INTO main.%s (%s) SELECT %s FROM other.%s WHERE key NOT IN (SELECT key FROM main.%s)"
                     " ORDER BY rowid",
                     keyed[i].table, keyed[i].columns, keyed[i].columns, keyed[i].table, keyed[i].table);
        int64_t before = sqlite3_total_changes64(store->db);
        status = run_text(store, &sql, err);
        int64_t *counter = (int64_t *)(void *)((char *)added + keyed[i].counter);
        *counter += sqlite3_total_changes64(store->db) - before;
    }
    return status == SM_OK ? sm_store__script(store, others_sql, err) : status;
}

/* The chain here goes on with the other's events in the order of time. */
static enum sm_status copy_history(struct sm_store *store, struct sm_store_merged *added, struct sm_error *err)
{
    sqlite3_stmt *stmt = NULL;
    bool has_row = false;
    static const char sql[] = "SELECT at, who, event, segment, survey_key, subject, detail FROM other.history h"
                              " WHERE NOT EXISTS (SELECT 1 FROM main.history m WHERE m.key = h.key) ORDER BY at, key";
    if (sqlite3_prepare_v2(store->db, sql, -1, &stmt, NULL) != SQLITE_OK) {
        return sm_store__error(store, "job to merge", err);
    }
    enum sm_status status = SM_OK;
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        struct sm_store_event event = {
            sm_store__column_text(stmt, 0), sm_store__column_text(stmt, 1), sm_store__column_text(stmt, 2),
            sm_store__column_text(stmt, 3), sm_store__column_text(stmt, 4), sm_store__column_text(stmt, 5),
            sm_store__column_text(stmt, 6)};
        status = sm_store_put_event(store, &event, err);
        added->n_events++;
    }
    sqlite3_finalize(stmt);
    return status;
}

static enum sm_status copy_all(struct sm_store *store, struct sm_store_merged *added, struct sm_error *err)
{
    static enum sm_status (*const steps[])(struct sm_store *, struct sm_store_merged *, struct sm_error *) = {
        copy_surveys, copy_keyed, copy_history};
    enum sm_status status = sm_store_begin(store, err);
    for (size_t i = 0; status == SM_OK && i < sizeof steps / sizeof *steps; i++) {
        status = steps[i](store, added, err);
    }
    if (status == SM_OK) {
        status = sm_store__script(store, supersede_sql, err);
    }
    return sm_store__leave(store, true, status, err);
}

/* A job that was meddled with must not spread. Opening it also checks kind and version. */
static enum sm_status check_other(const char *path, struct sm_error *err)
{
    struct sm_store *other = NULL;
    enum sm_status status = sm_store_open(&other, path, SM_STORE_READ, err);
    if (status == SM_OK) {
        status = sm_store_verify_history(other, err);
    }
    sm_store_close(&other);
    return status;
}

static bool is_same_file(const struct sm_store *store, const char *path)
{
    struct stat a;
    struct stat b;
    return stat(store->path, &a) == 0 && stat(path, &b) == 0 && a.st_dev == b.st_dev && a.st_ino == b.st_ino;
}

enum sm_status sm_store_merge(struct sm_store *store, const char *other_path, struct sm_store_merged *added,
                              struct sm_error *err)
{
    assert(!store->in_transaction);
    if (is_same_file(store, other_path)) {
        return SM_OK;
    }
    struct sm_store_merged counts = *added;
    enum sm_status status = check_other(other_path, err);
    if (status != SM_OK) {
        return status;
    }
    status = SM_STORE__RUN(store, err, "ATTACH ? AS other", sm_store__text(other_path));
    if (status != SM_OK) {
        return status;
    }
    status = sm_store__script(store, maps_sql, err);
    if (status == SM_OK) {
        status = copy_all(store, &counts, err);
    }
    if (status == SM_OK) {
        *added = counts;
    }
    sm_store__forget(store); /* statements that know the other would keep it */
    (void)sqlite3_exec(store->db, "DETACH other", NULL, NULL, NULL);
    return status;
}

/* ---- conflicts ---- */

static const char conflicts_sql[] =
    "SELECT segment, '' AS subject, 'two schedules were made apart from one recording: the one of ' || counts_stored_at ||"
    "   ' (' || substr(counts, 1, 12) || ') counts, the one of ' || differs_stored_at || ' (' || substr(differs, 1, 12) ||"
    "   ') is kept' AS text FROM survey_conflict WHERE ?1 IS NULL OR segment = ?1"
    " UNION ALL SELECT segment, repair, 'two as-built rows were recorded apart: ' || substr(counts, 1, 12) ||"
    "   ' counts, ' || substr(differs, 1, 12) || ' (' || source || ' line ' || source_line || ', recorded ' || recorded_at"
    "   || CASE who WHEN '' THEN '' ELSE ' by ' || who END || ') says otherwise and is kept'"
    "   FROM as_built_conflict WHERE ?1 IS NULL OR segment = ?1"
    " UNION ALL SELECT segment, repair, counts_who || ' says the liner is ' || counts || ' and counts as the later word, '"
    "   || differs_who || ' says ' || differs FROM verdict_conflict WHERE ?1 IS NULL OR segment = ?1"
    " ORDER BY 1, 2, 3";

void sm_store_conflicts_free(struct sm_store_conflicts **conflicts)
{
    if (conflicts && *conflicts) {
        sm_arena_free(&(*conflicts)->arena);
        sm_free((*conflicts)->item);
        sm_free(*conflicts);
        *conflicts = NULL;
    }
}

static enum sm_status fill_conflicts(struct sm_store_conflicts *list, struct sm_store *store, const char *segment,
                                     struct sm_error *err)
{
    sqlite3_stmt *stmt;
    size_t capacity = 0;
    bool has_row = false;
    enum sm_status status = SM_STORE__QUERY(store, &stmt, err, conflicts_sql, sm_store__text(segment));
    while (status == SM_OK && (status = sm_store__next(store, stmt, &has_row, err)) == SM_OK && has_row) {
        if (sm_grow(&list->item, list->n, &capacity, sizeof *list->item) != SM_OK) {
            status = sm_store__no_memory(err);
        } else {
            struct sm_store_conflict *item = &list->item[list->n++];
            const char **const words[] = {&item->segment, &item->subject, &item->text};
            status = sm_store__copy_texts(words, sizeof words / sizeof *words, 0, list->arena, stmt, 0, err);
        }
        if (status != SM_OK) {
            sqlite3_reset(stmt);
        }
    }
    return status;
}

enum sm_status sm_store_list_conflicts(struct sm_store_conflicts **out, struct sm_store *store, const char *segment,
                                       struct sm_error *err)
{
    struct sm_store_conflicts *list = sm_calloc(1, sizeof *list);
    if (!list || sm_arena_new(&list->arena) != SM_OK) {
        sm_free(list);
        return sm_store__no_memory(err);
    }
    enum sm_status status = fill_conflicts(list, store, segment, err);
    if (status != SM_OK) {
        sm_store_conflicts_free(&list);
        return status;
    }
    *out = list;
    return SM_OK;
}
