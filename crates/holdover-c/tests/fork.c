/* A child of fork(2), which has none of its parent's threads, answers as the parent does. */
#include <stdio.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "holdover.h"

static int read_twice(HoldoverDesk *desk, char *into, size_t room) {
    const char *words[] = {"read", "-", "--format", "json"};
    const uint8_t *output;
    size_t length;
    for (int i = 0; i < 2; i++) {
        if (holdover_desk_run(desk, words, 4) != 0)
            return 0;
        if (holdover_desk_output(desk, &output, &length) != HOLDOVER_OK || length >= room)
            return 0;
        memcpy(into, output, length + 1);
    }
    return 1;
}

int main(void) {
    static char first[1 << 16], second[1 << 16];
    const char *captures = "10100000100010000111000011\n10100000100010000111000101\n";
    HoldoverDesk *desk = holdover_desk_new();
    holdover_desk_put(desk, "-", (const uint8_t *)captures, strlen(captures));
    if (!read_twice(desk, first, sizeof first))
        return 1;
    pid_t child = fork();
    if (child == 0) {
        alarm(60);
        int same = read_twice(desk, second, sizeof second) && strcmp(first, second) == 0;
        holdover_desk_free(desk);
        return same ? 0 : 1;
    }
    int status = 1;
    waitpid(child, &status, 0);
    holdover_desk_free(desk);
    return status != 0;
}
