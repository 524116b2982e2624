/* Null pointers, huge lengths, wrong types, random bytes: a code, never a crash. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "holdover.h"

#define IS(call, code) is((call), (code), #call, __LINE__)

static void is(int got, int expected, const char *what, int line) {
    if (got != expected) {
        fprintf(stderr, "line %d: %s: %d, not %d\n", line, what, got, expected);
        exit(1);
    }
}

static uint64_t state = 88172645463325252u;

/* Marsaglia, "Xorshift RNGs", Journal of Statistical Software 8(14), 2003,
   shifts 13, 7, 17; from memory, and so is the state it begins with. */
static uint64_t drawn(void) {
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return state;
}

int main(void) {
    HoldoverDesk *desk = holdover_desk_new();
    const uint8_t *bytes = NULL;
    const char *text = NULL;
    size_t length = 0;
    const char *words[] = {"read", "10100000100010000111000011"};
    const char *holed[] = {"read", NULL};
    const char *odd[] = {"read", "\xff\xfe"};

    /* Null in every place. */
    holdover_desk_free(NULL);
    IS(holdover_desk_put(NULL, "a", (const uint8_t *)"01", 2), HOLDOVER_NULL);
    IS(holdover_desk_put(desk, NULL, (const uint8_t *)"01", 2), HOLDOVER_NULL);
    IS(holdover_desk_put(desk, "a", NULL, 2), HOLDOVER_NULL);
    IS(holdover_desk_put(desk, "a", NULL, 0), HOLDOVER_OK);
    IS(holdover_desk_get(NULL, "a", &bytes, &length), HOLDOVER_NULL);
    IS(holdover_desk_get(desk, NULL, &bytes, &length), HOLDOVER_NULL);
    IS(holdover_desk_get(desk, "a", NULL, &length), HOLDOVER_NULL);
    IS(holdover_desk_get(desk, "a", &bytes, NULL), HOLDOVER_NULL);
    IS(holdover_desk_get(desk, "b", &bytes, &length), HOLDOVER_ABSENT);
    IS(holdover_desk_remove(NULL, "a"), HOLDOVER_NULL);
    IS(holdover_desk_remove(desk, NULL), HOLDOVER_NULL);
    IS(holdover_desk_remove(desk, "a"), HOLDOVER_OK);
    IS(holdover_desk_remove(desk, "a"), HOLDOVER_ABSENT);
    IS(holdover_desk_name(NULL, 0, &text, &length), HOLDOVER_NULL);
    IS(holdover_desk_name(desk, 0, NULL, NULL), HOLDOVER_ABSENT);
    IS(holdover_desk_name(desk, SIZE_MAX, &text, &length), HOLDOVER_ABSENT);
    IS(holdover_desk_run(NULL, words, 2), HOLDOVER_NULL);
    IS(holdover_desk_run(desk, NULL, 2), HOLDOVER_NULL);
    IS(holdover_desk_run(desk, holed, 2), HOLDOVER_NULL);
    IS(holdover_desk_run(desk, odd, 2), HOLDOVER_NOT_UTF8);
    IS(holdover_desk_run(desk, NULL, 0), 2);
    IS(holdover_desk_output(NULL, &bytes, &length), HOLDOVER_NULL);
    IS(holdover_desk_output(desk, NULL, &length), HOLDOVER_NULL);
    IS(holdover_desk_said(NULL, &text, &length), HOLDOVER_NULL);
    IS(holdover_desk_said(desk, &text, NULL), HOLDOVER_NULL);

    /* Lengths that no memory has. */
    const size_t huge[] = {SIZE_MAX, SIZE_MAX / 2 + 1, SIZE_MAX - 7};
    for (size_t i = 0; i < sizeof huge / sizeof *huge; i++) {
        IS(holdover_desk_put(desk, "a", (const uint8_t *)"01", huge[i]), HOLDOVER_LENGTH);
        IS(holdover_desk_put(desk, "a", NULL, huge[i]), HOLDOVER_LENGTH);
        IS(holdover_desk_run(desk, words, huge[i]), HOLDOVER_LENGTH);
    }
    IS(holdover_desk_run(desk, words, SIZE_MAX / sizeof *words / 2 + 1), HOLDOVER_LENGTH);

    /* What is no desk. */
    _Alignas(16) char other[256];
    memset(other, 'x', sizeof other);
    IS(holdover_desk_run((HoldoverDesk *)other, words, 2), HOLDOVER_NO_DESK);
    IS(holdover_desk_run((HoldoverDesk *)(other + 1), words, 2), HOLDOVER_NO_DESK);
    IS(holdover_desk_get((HoldoverDesk *)other, "a", &bytes, &length), HOLDOVER_NO_DESK);
    IS(holdover_desk_put((HoldoverDesk *)other, "a", (const uint8_t *)"01", 2), HOLDOVER_NO_DESK);
    IS(holdover_desk_said((HoldoverDesk *)other, &text, &length), HOLDOVER_NO_DESK);
    holdover_desk_free((HoldoverDesk *)other);
    IS(holdover_desk_run(desk, (const char *const *)(other + 1), 2), HOLDOVER_NULL);

    /* Names that are no text, and odd ones that are. */
    IS(holdover_desk_put(desk, "\xc3", (const uint8_t *)"01", 2), HOLDOVER_NOT_UTF8);
    IS(holdover_desk_get(desk, "\xed\xa0\x80", &bytes, &length), HOLDOVER_NOT_UTF8);
    IS(holdover_desk_put(desk, "", (const uint8_t *)"01", 2), HOLDOVER_OK);
    IS(holdover_desk_remove(desk, ""), HOLDOVER_OK);

    /* Words and files of random bytes. */
    static uint8_t file[4096];
    static char word[6][24];
    const char *verbs[] = {"read", "learn", "plan", "prove", "compose", "table", "signal", "-"};
    for (int round = 0; round < 300; round++) {
        for (size_t i = 0; i < sizeof file; i++)
            file[i] = round % 2 ? (uint8_t)drawn() : (uint8_t)("01,\n0x/F\"b"[drawn() % 10]);
        length = drawn() % sizeof file;
        IS(holdover_desk_put(desk, "f", file, length), HOLDOVER_OK);
        IS(holdover_desk_put(desk, "-", file + length, sizeof file - length), HOLDOVER_OK);
        const char *said[8] = {verbs[drawn() % 8], "f"};
        size_t count = 1 + drawn() % 7;
        for (size_t i = 0; i < 6; i++) {
            for (size_t j = 0; j + 1 < sizeof word[i]; j++)
                word[i][j] = round % 3 ? (char)(32 + drawn() % 90) : (char)drawn();
            word[i][drawn() % sizeof word[i]] = 0;
            word[i][sizeof word[i] - 1] = 0;
            said[2 + i] = word[i];
        }
        int code = holdover_desk_run(desk, said, count);
        if (code != HOLDOVER_NOT_UTF8 && (code < 0 || code > 2))
            IS(code, 2);
        IS(holdover_desk_output(desk, &bytes, &length), HOLDOVER_OK);
        IS(holdover_desk_said(desk, &text, &length), HOLDOVER_OK);
    }

    /* The desk works on; every code has its words. */
    IS(holdover_desk_run(desk, words, 2), 0);
    for (int code = -9; code < 5; code++)
        IS(strlen(holdover_message(code)) > 0, 1);
    IS((int)holdover_schema(), HOLDOVER_SCHEMA);
    holdover_desk_free(desk);
    puts("all refused");
    return 0;
}
