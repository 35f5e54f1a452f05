#include "board_wire.h"

#include <string.h>

uint16_t wire_sum(const uint8_t *bytes, size_t length)
{
    uint16_t sum = 0xFFFF;
    for (size_t i = 0; i < length; i++) {
        sum ^= bytes[i];
        for (int bit = 0; bit < 8; bit++)
            sum = sum & 1 ? sum >> 1 ^ 0x8408 : sum >> 1;
    }
    return sum;
}

size_t wire_write(uint8_t *into, uint8_t type, uint16_t sequence, const uint8_t *payload, size_t length)
{
    uint8_t body[260] = { type, (uint8_t)sequence, (uint8_t)(sequence >> 8) };
    if (length > 0)
        memcpy(body + 3, payload, length);
    length += 3;
    uint16_t sum = wire_sum(body, length);
    body[length++] = (uint8_t)sum;
    body[length++] = (uint8_t)(sum >> 8);
    size_t code = 0, out = 1;
    for (size_t i = 0; i < length; i++) {
        if (body[i] != 0) {
            into[out++] = body[i];
            continue;
        }
        into[code] = (uint8_t)(out - code);
        code = out++;
    }
    into[code] = (uint8_t)(out - code);
    into[out++] = 0;
    return out;
}

bool wire_read(const uint8_t *bytes, size_t length, struct frame *frame)
{
    uint8_t body[512];
    size_t filled = 0;
    for (size_t i = 0; i < length;) {
        size_t block = bytes[i++];
        if (i + block - 1 > length)
            return false;
        memcpy(body + filled, bytes + i, block - 1);
        filled += block - 1;
        i += block - 1;
        if (i < length && block < 255)
            body[filled++] = 0;
    }
    if (filled < 5 || filled > 250 || wire_sum(body, filled - 2) != wire_u16(body + filled - 2))
        return false;
    frame->type = body[0];
    frame->sequence = wire_u16(body + 1);
    frame->length = filled - 5;
    memcpy(frame->payload, body + 3, frame->length);
    return true;
}

uint16_t wire_u16(const uint8_t *bytes)
{
    return (uint16_t)(bytes[0] | bytes[1] << 8);
}

uint32_t wire_u32(const uint8_t *bytes)
{
    return wire_u16(bytes) | (uint32_t)wire_u16(bytes + 2) << 16;
}

bool wire_number(const uint8_t *bytes, size_t length, size_t *at, uint32_t *number)
{
    uint64_t value = 0;
    for (int shift = 0; *at < length && shift < 35; shift += 7) {
        uint8_t byte = bytes[(*at)++];
        value |= (uint64_t)(byte & 127) << shift;
        if (!(byte & 128)) {
            *number = (uint32_t)value;
            return value <= UINT32_MAX;
        }
    }
    return false;
}
