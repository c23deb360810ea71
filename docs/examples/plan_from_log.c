/*
 * A repair plan from a survey sheet or a standard log (EN 13508-2, ISYBAU, DWA-M 150), with the installed library:
 *
 *   cc plan_from_log.c $(pkg-config --cflags --libs stopmark) -o plan_from_log
 *   ./plan_from_log sheet.ini
 */
#include <stdio.h>
#include <stdlib.h>

#include <stopmark/job.h>

static void tell_repair(const struct sm_schedule *schedule, const struct sm_repair *repair)
{
    /* Places that we decide are whole micrometres: adding them is exact. */
    double stop_m = ((double)repair->start_um + (double)repair->length_um / 2) / 1e6;
    printf("%s: kit %s, stop at %.3f m, mark at %.3f m, covers", repair->id, schedule->sheet->kit[repair->kit_idx].name, stop_m,
           repair->mark_m);
    for (size_t i = 0; i < repair->n_covers; i++) {
        printf(" %s", schedule->alignment->observation[repair->covers[i]].id);
    }
    printf("\n");
}

/* What a person should know before relying on it. */
static void tell_findings(const struct sm_job *job)
{
    const struct sm_store_findings *stage;
    size_t n = sm_job_get_findings(job, &stage);
    for (size_t s = 0; s < n; s++) {
        for (size_t i = 0; i < stage[s].findings->n; i++) {
            fprintf(stderr, "%s\n", stage[s].findings->item[i].message);
        }
    }
}

int main(int argc, char **argv)
{
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    if (argc != 2) {
        fprintf(stderr, "usage: plan_from_log SHEET-OR-LOG\n");
        return 2;
    }
    if (sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = argv[1]}, &err) != SM_OK) {
        fprintf(stderr, "%s:%u: %s; %s\n", err.source, (unsigned)err.line, err.text, err.remedy);
        return EXIT_FAILURE;
    }
    const struct sm_schedule *schedule = sm_job_get_schedule(job);
    for (size_t i = 0; i < schedule->plan->n_repairs; i++) {
        tell_repair(schedule, &schedule->plan->repair[i]);
    }
    tell_findings(job);
    sm_job_free(&job);
    return EXIT_SUCCESS;
}
