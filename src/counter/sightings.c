/* The list of sightings: grows from several threads' lists, and comes out the same whatever their order. */
#include "counter_internal.h"

#include <stdlib.h>
#include <string.h>

enum sm_status sm_counter__sightings_add(struct sm_counter__sightings *list,
                                         const struct sm_counter__sighting *sighting)
{
    enum sm_status status = sm_grow(&list->item, list->n, &list->capacity, sizeof *list->item);
    if (status == SM_OK) {
        list->item[list->n++] = *sighting;
    }
    return status;
}

enum sm_status sm_counter__sightings_take(struct sm_counter__sightings *list,
                                          struct sm_counter__sightings *more)
{
    enum sm_status status = SM_OK;
    for (size_t i = 0; status == SM_OK && i < more->n; i++) {
        status = sm_counter__sightings_add(list, &more->item[i]);
    }
    more->n = 0;
    return status;
}

/* Two looks can give sightings of one time: what they say settles the order. */
static int sighting_order(const void *left, const void *right)
{
    const struct sm_counter__sighting *a = left, *b = right;
    if (a->time_s != b->time_s) {
        return a->time_s < b->time_s ? -1 : 1;
    }
    int by_cost = memcmp(a->cost, b->cost, sizeof a->cost);
    int by_sign = memcmp(a->separator_cost, b->separator_cost, sizeof a->separator_cost);
    return by_cost ? by_cost : by_sign;
}

void sm_counter__sightings_sort(struct sm_counter__sightings *list)
{
    if (list->n == 0) {
        return;
    }
    qsort(list->item, list->n, sizeof *list->item, sighting_order);
    size_t kept = 1;
    for (size_t i = 1; i < list->n; i++) {
        if (list->item[i].time_s > list->item[kept - 1].time_s) {
            list->item[kept++] = list->item[i];
        }
    }
    list->n = kept;
}

void sm_counter__sightings_release(struct sm_counter__sightings *list)
{
    sm_free(list->item);
    *list = (struct sm_counter__sightings){0};
}
