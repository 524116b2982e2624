/*
 * Reads captures, plans a site for its roster, and prints both:
 *
 *     cc example.c -I. -L../../target/release -lholdover_c -o example
 *     ./example captures.csv site.toml roster.csv
 *
 * Card numbers are keys: what is printed here is not for everyone's eyes.
 */
#include <stdio.h>
#include <stdlib.h>

#include "holdover.h"

/* Puts a file of the disk on the desk, under the same name. */
static int put(HoldoverDesk *desk, const char *path) {
    FILE *file = fopen(path, "rb");
    if (!file) {
        perror(path);
        return HOLDOVER_ABSENT;
    }
    uint8_t *bytes = NULL;
    size_t length = 0, room = 0, count = 0;
    do {
        length += count;
        if (length == room) {
            room = room ? 2 * room : 4096;
            uint8_t *more = realloc(bytes, room);
            if (!more) {
                free(bytes);
                fclose(file);
                return HOLDOVER_LENGTH;
            }
            bytes = more;
        }
        count = fread(bytes + length, 1, room - length, file);
    } while (count > 0);
    int code = ferror(file) ? HOLDOVER_ABSENT : holdover_desk_put(desk, path, bytes, length);
    free(bytes);
    fclose(file);
    return code;
}

/* Runs a command, and prints what it prints. */
static int run(HoldoverDesk *desk, const char *const *words, size_t count) {
    int code = holdover_desk_run(desk, words, count);
    if (code < 0) {
        fprintf(stderr, "%s\n", holdover_message(code));
        return code;
    }
    const uint8_t *output;
    const char *said;
    size_t length;
    if (holdover_desk_output(desk, &output, &length) == HOLDOVER_OK)
        fwrite(output, 1, length, stdout);
    if (holdover_desk_said(desk, &said, &length) == HOLDOVER_OK && length > 0)
        fputs(said, stderr);
    return code;
}

int main(int argc, char **argv) {
    if (argc != 4) {
        fprintf(stderr, "usage: %s CAPTURES SITE ROSTER\n", argv[0]);
        return 2;
    }
    if (holdover_schema() != HOLDOVER_SCHEMA) {
        fputs("the library is of another version than its header\n", stderr);
        return 2;
    }
    HoldoverDesk *desk = holdover_desk_new();
    int code = desk ? 0 : 2;
    for (int i = 1; i < argc && code == 0; i++)
        code = put(desk, argv[i]);
    if (code == 0) {
        const char *read[] = {"read", argv[1], "--site", argv[2], "--format", "csv"};
        const char *plan[] = {"plan", "--site", argv[2], "--roster", argv[3]};
        /* 1 says that something is wrong with the cards: the plan is printed all the same. */
        code = run(desk, read, sizeof read / sizeof *read);
        int planned = code < 0 || code == 2 ? 0 : run(desk, plan, sizeof plan / sizeof *plan);
        code = planned != 0 ? planned : code;
    }
    holdover_desk_free(desk);
    return code < 0 ? 2 : code;
}
