/* A program of somebody else: plans a survey from its sheet with the installed library. */
#include <stdio.h>

#include <stopmark/job.h>

int main(int argc, char **argv)
{
    struct sm_job *job = NULL;
    struct sm_error err = {0};
    if (argc != 2) {
        return 2;
    }
    if (sm_job_schedule(&job, &(struct sm_job_opts){.sheet_path = argv[1]}, &err) != SM_OK) {
        fprintf(stderr, "%s:%u: %s; %s\n", err.source, (unsigned)err.line, err.text, err.remedy);
        return 1;
    }
    const struct sm_schedule *schedule = sm_job_get_schedule(job);
    for (size_t i = 0; i < schedule->plan->n_repairs; i++) {
        const struct sm_repair *repair = &schedule->plan->repair[i];
        printf("%s %lld um\n", repair->id, (long long)(repair->start_um + repair->length_um / 2));
    }
    sm_job_free(&job);
    return 0;
}
