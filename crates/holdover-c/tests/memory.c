/* Memory runs short: a code, or null, and the desk works on once there is more. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

#include "holdover.h"

#define IS(call, code) is((call), (code), #call, __LINE__)

static void is(int got, int expected, const char *what, int line) {
    if (got != expected) {
        fprintf(stderr, "line %d: %s: %d, not %d\n", line, what, got, expected);
        exit(1);
    }
}

/* From now on the process may have so many more bytes of addresses. */
static void leave(size_t more) {
    FILE *file = fopen("/proc/self/statm", "r");
    unsigned long pages = 0;
    struct rlimit limit;
    if (!file || fscanf(file, "%lu", &pages) != 1 || getrlimit(RLIMIT_AS, &limit) != 0)
        exit(1);
    fclose(file);
    limit.rlim_cur = pages * 4096 + more;
    if (more == SIZE_MAX)
        limit.rlim_cur = limit.rlim_max;
    if (setrlimit(RLIMIT_AS, &limit) != 0)
        exit(1);
}

int main(void) {
    enum { LARGE = 48 << 20 };
    HoldoverDesk *desk = holdover_desk_new();
    const uint8_t *bytes = NULL;
    const char *text = NULL;
    size_t length = 0;
    const char *words[] = {"read", "10100000100010000111000011"};
    uint8_t *large = malloc(LARGE);
    void *taken[4096];
    size_t count = 0;
    if (!desk || !large)
        return 1;
    memset(large, '\n', LARGE);
    IS(holdover_desk_put(desk, "kept", (const uint8_t *)"01", 2), HOLDOVER_OK);
    /* Once before, so that what lasts as long as the process is there. */
    IS(holdover_desk_run(desk, words, 2), 0);

    /* Room for no copy of the file, and none for a command. */
    leave(16 << 20);
    IS(holdover_desk_put(desk, "kept", large, LARGE), HOLDOVER_MEMORY);
    IS(holdover_desk_put(desk, "large", large, LARGE), HOLDOVER_MEMORY);
    IS(holdover_desk_get(desk, "large", &bytes, &length), HOLDOVER_ABSENT);
    IS(holdover_desk_get(desk, "kept", &bytes, &length), HOLDOVER_OK);
    IS(length == 2 && memcmp(bytes, "01", 2) == 0, 1);
    IS(holdover_desk_run(desk, words, 2), HOLDOVER_MEMORY);

    /* No room at all. */
    for (size_t size = 1 << 20; size >= 16; size /= 2) {
        void *some = NULL;
        while (count < 4096 && (some = malloc(size)))
            taken[count++] = some;
    }
    for (size_t size = 4096; size >= 16; size /= 2)
        while (malloc(size))
            ;
    if (holdover_desk_new())
        return 1;
    IS(holdover_desk_put(desk, "small", (const uint8_t *)"01", 2), HOLDOVER_MEMORY);
    IS(holdover_desk_name(desk, 0, &text, &length), HOLDOVER_MEMORY);
    IS(holdover_desk_run(desk, words, 2), HOLDOVER_MEMORY);
    IS(holdover_desk_remove(desk, "kept"), HOLDOVER_OK);

    /* And enough again. */
    while (count > 0)
        free(taken[--count]);
    leave(SIZE_MAX);
    IS(holdover_desk_put(desk, "large", large, LARGE), HOLDOVER_OK);
    IS(holdover_desk_name(desk, 0, &text, &length), HOLDOVER_OK);
    IS(strcmp(text, "large"), 0);
    IS(holdover_desk_run(desk, words, 2), 0);
    IS(holdover_desk_output(desk, &bytes, &length), HOLDOVER_OK);
    IS(length > 0, 1);
    holdover_desk_free(desk);
    free(large);
    puts("all refused");
    return 0;
}
