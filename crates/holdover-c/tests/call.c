/*
 * A call as the binary would do it: call [NAME PATH]... -- WORD...
 * Standard output, standard error and exit code are the command's; every other
 * file on the desk is written to the directory it runs in, with - for /.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "holdover.h"

static void must(int holds, const char *what) {
    if (!holds) {
        fprintf(stderr, "call: %s\n", what);
        exit(99);
    }
}

int main(int argc, char **argv) {
    HoldoverDesk *desk = holdover_desk_new();
    must(desk != NULL, "no desk");
    int at = 1;
    for (; at + 1 < argc && strcmp(argv[at], "--") != 0; at += 2) {
        FILE *file = fopen(argv[at + 1], "rb");
        must(file != NULL, argv[at + 1]);
        static uint8_t bytes[1 << 20];
        size_t length = fread(bytes, 1, sizeof bytes, file);
        must(length < sizeof bytes && fclose(file) == 0, "a file too large");
        must(holdover_desk_put(desk, argv[at], bytes, length) == HOLDOVER_OK, "not put");
        memset(bytes, 0xA5, length);
    }
    int given = (at - 1) / 2;
    must(at < argc, "no --");
    int code = holdover_desk_run(desk, (const char *const *)argv + at + 1, argc - at - 1);
    must(code >= 0, holdover_message(code));

    const uint8_t *bytes;
    const char *said, *name;
    size_t length, kept = 0;
    must(holdover_desk_output(desk, &bytes, &length) == HOLDOVER_OK, "no output");
    must(bytes[length] == 0, "no NUL behind the output");
    fwrite(bytes, 1, length, stdout);
    must(holdover_desk_said(desk, &said, &length) == HOLDOVER_OK, "nothing said");
    must(strlen(said) == length, "no NUL behind what is said");
    fputs(said, stderr);
    for (size_t i = 0; holdover_desk_name(desk, i, &name, &length) == HOLDOVER_OK; i++) {
        must(strlen(name) == length, "no NUL behind a name");
        int is_input = 0;
        for (int j = 0; j < given; j++)
            is_input |= strcmp(argv[1 + 2 * j], name) == 0;
        kept += is_input;
        if (is_input)
            continue;
        char path[256];
        must(length < sizeof path, "a long name");
        strcpy(path, name);
        for (char *c = path; *c; c++)
            *c = *c == '/' ? '-' : *c;
        must(holdover_desk_get(desk, name, &bytes, &length) == HOLDOVER_OK, "not got");
        FILE *file = fopen(path, "wb");
        must(file != NULL && fwrite(bytes, 1, length, file) == length && fclose(file) == 0, path);
    }
    must(kept == (size_t)given, "an input is gone");
    holdover_desk_free(desk);
    return code;
}
