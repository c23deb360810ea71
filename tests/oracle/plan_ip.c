/*
 * Planning as an integer program in CPLEX LP format (GLPK reference manual, appendix "CPLEX LP format").
 *
 * All lengths are grid units and all constraints differences of them, so an optimum lies on the grid
 * (difference constraints are totally unimodular) and one binary for each kit and grid start is enough:
 *
 *   y_k_s     a liner of kit k begins at s           r_t   target t is left out           z_c   connection c
 * is cut open
 *
 *   each unit cell of a target, and each grid point inside it when liners must lap, lies in some liner, or
 * r_t; two liners that lap by less than the overlap have a third between them (starts and ends strictly
 * between); no liner inside another; a liner over a connection asks for z_c, or may not be there at all.
 *
 * First the number left out and the cost are minimised together, then, those two fixed, liners and their
 * length.
 */
#include "plan_ip.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LEFT_OUT_PRICE 100000 /* more than any of the cases costs */
#define LINER_PRICE 10000     /* more than the length of all liners */
#define MAX_CHOICES 512

struct choice {
    size_t kit;
    int64_t start, end;
};
struct program {
    const struct plan_case *problem;
    size_t n;
    struct choice choice[MAX_CHOICES];
    FILE *out;
    size_t n_rows;
};

static struct case_stretch in_pipe(const struct plan_case *problem, struct case_stretch stretch)
{
    stretch.start = stretch.start > 0 ? stretch.start : 0;
    stretch.end = stretch.end < problem->length ? stretch.end : problem->length;
    return stretch;
}

static bool is_over(const struct choice *choice, struct case_stretch stretch)
{
    return stretch.start < stretch.end && choice->start < stretch.end && choice->end > stretch.start;
}

static bool is_choice(const struct plan_case *problem, const struct choice *choice)
{
    for (size_t i = 0; i < problem->n_connections; i++) {
        struct case_stretch clear = in_pipe(problem, problem->connection[i]);
        bool is_whole = choice->start <= clear.start && choice->end >= clear.end;
        if (is_over(choice, clear) && !(problem->may_reopen && is_whole)) {
            return false;
        }
    }
    return choice->end <= problem->length;
}

static void list_choices(struct program *program)
{
    const struct plan_case *problem = program->problem;
    for (size_t kit = 0; kit < problem->n_kits; kit++) {
        for (int64_t start = 0; start + problem->kit[kit].length <= problem->length; start++) {
            struct choice choice = {kit, start, start + problem->kit[kit].length};
            if (is_choice(problem, &choice) && program->n < MAX_CHOICES) {
                program->choice[program->n++] = choice;
            }
        }
    }
}

/* Terms are written one a line: the format has a limit on line length. */
static void add_liners(struct program *program, int64_t each, bool is_by_length)
{
    const struct plan_case *problem = program->problem;
    for (size_t i = 0; i < program->n; i++) {
        const struct case_kit *kit = &problem->kit[program->choice[i].kit];
        int64_t price = is_by_length ? each + kit->length : kit->cost + problem->set_up_cost;
        fprintf(program->out, " + %lld y%zu\n", (long long)price, i);
    }
}

static void add_left_out_and_cost(struct program *program)
{
    for (size_t i = 0; i < program->problem->n_targets; i++) {
        fprintf(program->out, " + %d r%zu\n", LEFT_OUT_PRICE, i);
    }
    for (size_t i = 0; i < program->problem->n_connections; i++) {
        fprintf(program->out, " + %lld z%zu\n", (long long)program->problem->reopen_cost, i);
    }
    add_liners(program, 0, false);
}

/* Some liner holds [from, to], or target t is left out. */
static void add_cover(struct program *program, size_t t, int64_t from, int64_t to)
{
    fprintf(program->out, " c%zu: r%zu\n", program->n_rows++, t);
    for (size_t i = 0; i < program->n; i++) {
        if (program->choice[i].start <= from && program->choice[i].end >= to) {
            fprintf(program->out, " + y%zu\n", i);
        }
    }
    fprintf(program->out, " >= 1\n");
}

static void add_target(struct program *program, size_t t)
{
    struct case_stretch target = program->problem->target[t];
    if (target.start == target.end) {
        add_cover(program, t, target.start, target.start);
    }
    for (int64_t at = target.start; at < target.end; at++) {
        add_cover(program, t, at, at + 1);
        if (at > target.start && program->problem->overlap > 0) {
            add_cover(program, t, at - 1, at + 1);
        }
    }
}

static void add_pair(struct program *program, size_t a, size_t b)
{
    const struct choice *left = &program->choice[a], *right = &program->choice[b];
    bool is_nested = left->start == right->start || right->end <= left->end;
    int64_t lap = left->end - right->start;
    if (!is_nested && (lap <= 0 || lap >= program->problem->overlap)) {
        return;
    }
    fprintf(program->out, " c%zu: y%zu + y%zu\n", program->n_rows++, a, b);
    for (size_t i = 0; i < program->n && !is_nested; i++) {
        const struct choice *between = &program->choice[i];
        if (between->start > left->start && between->start < right->start && between->end > left->end &&
            between->end < right->end) {
            fprintf(program->out, " - y%zu\n", i);
        }
    }
    fprintf(program->out, " <= 1\n");
}

static void add_reopening(struct program *program, size_t c)
{
    for (size_t i = 0; i < program->n; i++) {
        if (is_over(&program->choice[i], in_pipe(program->problem, program->problem->connection[c]))) {
            fprintf(program->out, " c%zu: z%zu - y%zu >= 0\n", program->n_rows++, c, i);
        }
    }
}

static void add_rules(struct program *program)
{
    for (size_t t = 0; t < program->problem->n_targets; t++) {
        add_target(program, t);
    }
    for (size_t a = 0; a < program->n; a++) {
        for (size_t b = 0; b < program->n; b++) {
            const struct choice *left = &program->choice[a], *right = &program->choice[b];
            if (left->start < right->start || (left->start == right->start && a < b)) {
                add_pair(program, a, b);
            }
        }
    }
    for (size_t c = 0; c < program->problem->n_connections; c++) {
        add_reopening(program, c);
    }
}

static void add_binaries(struct program *program)
{
    fprintf(program->out, "Binary\n nothing\n"); /* never empty: the answer is then always one of a MIP */
    for (size_t i = 0; i < program->n; i++) {
        fprintf(program->out, " y%zu\n", i);
    }
    for (size_t i = 0; i < program->problem->n_targets; i++) {
        fprintf(program->out, " r%zu\n", i);
    }
    for (size_t i = 0; i < program->problem->n_connections; i++) {
        fprintf(program->out, " z%zu\n", i);
    }
    fprintf(program->out, "End\n");
}

/* fixed < 0: minimise what is left out and the cost; else that is fixed and liners and length are minimised.
 */
static bool write_program(struct program *program, const char *path, int64_t fixed)
{
    program->out = fopen(path, "w");
    if (!program->out) {
        return false;
    }
    program->n_rows = 0;
    fprintf(program->out, "Minimize\n obj: 0 nothing\n");
    if (fixed < 0) {
        add_left_out_and_cost(program);
    } else {
        add_liners(program, LINER_PRICE, true);
    }
    fprintf(program->out, "Subject To\n");
    if (fixed >= 0) {
        fprintf(program->out, " worth: 0 nothing\n");
        add_left_out_and_cost(program);
        fprintf(program->out, " = %lld\n", (long long)fixed);
    }
    fprintf(program->out, " none: nothing = 0\n");
    add_rules(program);
    add_binaries(program);
    return fclose(program->out) == 0;
}

/* The objective stands in the line "s mip ROWS COLUMNS STATUS OBJECTIVE" of glpsol's plain answer. */
static bool read_objective(const char *path, int64_t *objective)
{
    FILE *in = fopen(path, "r");
    char line[256];
    bool is_found = false;
    while (in && !is_found && fgets(line, sizeof line, in)) {
        double value;
        is_found = sscanf(line, "s mip %*d %*d o %lf", &value) == 1;
        *objective = is_found ? (int64_t)(value + 0.5) : 0;
    }
    if (in) {
        fclose(in);
    }
    return is_found;
}

static bool solve(struct program *program, const char *dir, int64_t fixed, int64_t *objective)
{
    char model[300], answer[300], command[900];
    snprintf(model, sizeof model, "%s/plan.lp", dir);
    snprintf(answer, sizeof answer, "%s/plan.out", dir);
    snprintf(command, sizeof command, "glpsol --lp %s -w %s --cuts >/dev/null 2>&1", model, answer);
    return write_program(program, model, fixed) && system(command) == 0 && read_objective(answer, objective);
}

bool plan_ip(const struct plan_case *problem, const char *dir, struct case_worth *best)
{
    static struct program program;
    int64_t worth, size;
    memset(&program, 0, sizeof program);
    program.problem = problem;
    list_choices(&program);
    if (!solve(&program, dir, -1, &worth) || !solve(&program, dir, worth, &size)) {
        return false;
    }
    *best = (struct case_worth){worth / LEFT_OUT_PRICE, worth % LEFT_OUT_PRICE, size / LINER_PRICE,
                                size % LINER_PRICE};
    return true;
}
