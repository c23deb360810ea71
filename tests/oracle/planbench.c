/*
 * How quick the planner is: planbench [RUNS]. Beside it, in the same run, what a number of the machine's own
 * is made of: the observations sorted by the C library, and an integer program of a small case solved by
 * glpsol.
 */
#include "plan_ip.h"
#include "plan_large.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static double seconds(clockid_t clock)
{
    struct timespec now;
    clock_gettime(clock, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

/* Of one core, ours alone. */
static double used_s(void)
{
    return seconds(CLOCK_PROCESS_CPUTIME_ID);
}

/* On the wall: glpsol is another process. */
static double now_s(void)
{
    return seconds(CLOCK_MONOTONIC);
}

static int by_place(const void *left, const void *right)
{
    const struct sm_observation *a = left, *b = right;
    return (a->start_m > b->start_m) - (a->start_m < b->start_m);
}

static double least(double a, double b)
{
    return a < b ? a : b;
}

/* Of several runs the quickest: what else the machine does only adds. */
static double plan_s(const struct sm_alignment *alignment, const struct sm_sheet *sheet, int n_runs,
                     size_t *n_repairs)
{
    double best_s = 1e9;
    for (int i = 0; i < n_runs; i++) {
        struct sm_plan *plan = NULL;
        struct sm_error err = {0};
        double before_s = used_s();
        if (sm_plan_make(&plan, alignment, sheet, &err) != SM_OK) {
            fprintf(stderr, "planbench: %s\n", err.text);
            exit(1);
        }
        best_s = least(best_s, used_s() - before_s);
        *n_repairs = plan->n_repairs;
        sm_plan_free(&plan);
    }
    return best_s;
}

static double sort_s(const struct plan_large *large, int n_runs)
{
    static struct sm_observation copy[LARGE_N];
    double best_s = 1e9;
    for (int i = 0; i < n_runs; i++) {
        memcpy(copy, large->observation, sizeof copy);
        double before_s = used_s();
        qsort(copy, LARGE_N, sizeof *copy, by_place);
        best_s = least(best_s, used_s() - before_s);
    }
    return best_s;
}

static void bench_large(int n_runs)
{
    static const struct {
        const char *words;
        double connections;
        bool may_reopen;
        size_t n_kits;
    } cases[] = {{"no connections, 4 kits", 0, false, 4},
                 {"3 of 10 are connections, 5 kits", 0.3, false, 5},
                 {"the same, reopening, 6 kits", 0.3, true, 6}};
    static struct plan_large large;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        size_t n_repairs = 0;
        plan_large_make(&large, LARGE_N, cases[i].connections, cases[i].may_reopen, cases[i].n_kits);
        double took_s = plan_s(&large.alignment, &large.sheet, n_runs, &n_repairs);
        printf("%d observations on %d m, %-32s %6.1f ms, %zu repairs, %.0f times sorting them\n", LARGE_N,
               (int)LARGE_LENGTH_M, cases[i].words, took_s * 1e3, n_repairs, took_s / sort_s(&large, n_runs));
    }
}

/* The same cases put to planner and glpsol, which must agree: first what the test draws, then the time. */
static void bench_small(const char *dir, int n_cases)
{
    struct sm_test_random random = {20310317};
    static struct plan_input input;
    double planner_s = 0, glpsol_s = 0;
    for (int i = 0; i < n_cases; i++) {
        struct plan_case problem;
        struct case_worth best, worth;
        struct sm_plan *plan = NULL;
        plan_case_random(&problem, &random);
        plan_case_input(&input, &problem);
        double before_s = now_s();
        if (sm_plan_make(&plan, &input.alignment, &input.sheet, NULL) != SM_OK) {
            exit(1);
        }
        planner_s += now_s() - before_s;
        before_s = now_s();
        bool is_solved = plan_ip(&problem, dir, &best);
        glpsol_s += now_s() - before_s;
        if (!is_solved || plan_check(&problem, plan, &worth) || case_worth_compare(&worth, &best) != 0) {
            fprintf(stderr,
                    "planbench: planner and glpsol disagree, or there is no glpsol (package glpk-utils)\n");
            exit(1);
        }
        sm_plan_free(&plan);
    }
    printf("%d cases of at most 4 m: planner %.2f ms a case, glpsol %.1f ms, %.0f times as long, equal worth "
           "in all\n",
           n_cases, planner_s * 1e3 / n_cases, glpsol_s * 1e3 / n_cases, glpsol_s / planner_s);
}

int main(int argc, char **argv)
{
    int64_t n_runs = 5;
    char dir[256];
    if (argc > 2 || (argc == 2 && !sm_parse_int(argv[1], 1, 1000, &n_runs))) {
        fprintf(stderr, "usage: planbench [RUNS]\n");
        return 2;
    }
    bench_large((int)n_runs);
    sm_test_dir_make(dir);
    bench_small(dir, 20);
    sm_test_dir_remove(dir);
    return 0;
}
