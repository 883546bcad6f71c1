// Peripherals with known behaviour (tests/verilog/test_known.py has each of them in Python).

// Brightness of a lamp in parts of a period; the period is as long as PERIOD says.
module pwm #(parameter WIDTH = 6, parameter PERIOD = 2 ** WIDTH - 3) (
    input wire pclk, input wire presetn, input wire psel, input wire penable, input wire pwrite,
    input wire [7:0] paddr, input wire [31:0] pwdata, output wire [31:0] prdata, output wire lamp
);
    reg [WIDTH-1:0] level, step;
    wire signed [WIDTH:0] left = $signed({1'b0, level}) - $signed({1'b0, step});
    assign lamp = left > 0;
    assign prdata = paddr[2] ? {{31-WIDTH{left[WIDTH]}}, left} : step;
    always @(posedge pclk or negedge presetn)
        if (!presetn) begin
            level <= 5;
            step <= 0;
        end else begin
            step <= step == PERIOD - 1 ? 0 : step + 1'd1;
            if (psel & penable & pwrite & ~paddr[2]) level <= pwdata;
        end
endmodule

// A queue of DEPTH words, which is no power of two. ERR: nothing to take, or no room.
module queue #(parameter DEPTH = 5, parameter BITS = $clog2(DEPTH)) (
    input wire clk, input wire rst, input wire cyc, input wire stb, input wire we,
    input wire [1:0] adr, input wire [31:0] dat_i, output wire [31:0] dat_o,
    output wire ack, output wire err, output wire full, output wire empty
);
    reg [31:0] words [0:DEPTH-1];
    reg [BITS-1:0] first, last;
    reg [BITS:0] count;
    function [BITS-1:0] after(input [BITS-1:0] place);
        after = place == DEPTH - 1 ? 0 : place + 1;
    endfunction
    wire call = cyc & stb, put = call & we, take = call & ~we & adr == 0;
    wire [15:0] depth = DEPTH, bits = BITS;
    assign full = count == DEPTH, empty = ~|count;
    assign err = put & full | take & empty, ack = call & ~err;
    assign dat_o = adr == 0 ? words[first] : adr == 1 ? count : {depth, bits};
    always @(posedge clk) begin
        if (put & ack) begin
            words[last] <= dat_i;
            last <= after(last);
        end
        if (take & ack) first <= after(first);
        if (ack & (put | take)) count <= put ? count + 1 : count - 1;
        if (rst) {first, last, count} <= 0;
    end
endmodule

// CRC-32 (IEEE 802.3), of 1 to 4 bytes at once, the lowest first.
module crc (
    input wire clk, input wire rst, input wire sel, input wire we, input wire [3:0] addr,
    input wire [31:0] wdata, input wire [3:0] be, output wire [31:0] rdata
);
    reg [31:0] state;
    assign rdata = ~state;
    function automatic [31:0] fed(input [31:0] now, input [7:0] data);
        integer i;
        begin
            fed = now ^ data;
            for (i = 0; i < 8; i = i + 1)
                fed = fed[0] ? fed >> 1 ^ 32'hedb88320 : fed >> 1;
        end
    endfunction
    reg [31:0] next;
    integer lane;
    always @* begin
        next = state;
        for (lane = 0; lane < 4; lane = lane + 1)
            if (be[lane]) next = fed(next, wdata[8*lane +: 8]);
    end
    always @(posedge clk)
        if (rst) state <= ~32'd0;
        else if (sel & we) state <= addr[2] ? ~32'd0 : next;
endmodule

// Sends eight bits at DIVISOR cycles each, with a start bit and a stop bit; waits while it sends.
module sender #(parameter DIVISOR = 7) (
    input wire clk, input wire rst_n, input wire write, input wire [3:0] address,
    input wire [31:0] write_data, output wire [31:0] read_data, output wire ready, output wire tx,
    output wire busy
);
    localparam IDLE = 2'd0, START = 2'd1, DATA = 2'd2, STOP = 2'd3;
    reg [1:0] state;
    reg [7:0] bits;
    reg [2:0] place;
    reg [15:0] left;
    assign busy = state != IDLE, ready = ~busy, read_data = {31'd0, busy};
    assign tx = state == START ? 1'b0 : state == DATA ? bits[place] : 1'b1;
    always @(posedge clk) begin
        case (state)
            IDLE: if (write) begin
                bits <= write_data[7:0];
                left <= DIVISOR - 1;
                state <= START;
                place <= 0;
            end
            default: if (left != 0) left <= left - 1'b1;
                else begin
                    left <= DIVISOR - 1;
                    case (state)
                        START: state <= DATA;
                        DATA: if (&place) state <= STOP; else place <= place + 1'b1;
                        STOP: state <= IDLE;
                    endcase
                end
        endcase
        if (!rst_n) begin
            state <= IDLE;
            {bits, place, left} <= 0;
        end
    end
endmodule

// Memories: words from 4 to 11 alone, half-words with two writers, tables.
module book (
    input wire clk, input wire arst, input wire cs, input wire wr, input wire [7:2] addr,
    input wire [31:0] wdata, input wire [3:0] be, output reg [31:0] rdata
);
    reg [31:0] words [4:11];
    reg [15:0] halves [7:0];
    reg [7:0] table_of [0:6];
    integer i;
    initial begin
        for (i = 4; i < 12; i = i + 1) words[i] = i * 32'h01010101;
        for (i = 0; i < 8; i = i + 1) halves[i] = i;
        $readmemh("table.hex", table_of);
    end
    wire [3:0] word = addr[5:2];
    reg [7:0] seven;
    always @*
        case (word[2:0])
            0: seven = 8'h3f;
            1: seven = 8'h06;
            2, 3: seven = 8'h5b;
            4: seven = 8'h66;
            default: seven = 8'h79;
        endcase
    always @(posedge clk) begin
        if (cs & wr & addr[7:6] == 0)
            for (i = 0; i < 4; i = i + 1) if (be[i]) words[word][8*i +: 8] <= wdata[8*i +: 8];
        if (cs & wr & addr[7:6] == 1) begin
            halves[word[2:0]] <= wdata[15:0];
            halves[~word[2:0]] <= wdata[15:0] + 16'd1;
            if (wdata[16]) halves[wdata[19:17]] <= wdata[31:16];
        end
        case (addr[7:6])
            0: rdata <= words[word];
            1: rdata <= {halves[~word[2:0]], halves[word[2:0]]};
            2: rdata <= {word, seven};
            3: rdata <= table_of[word[2:0]];
        endcase
    end
endmodule

// Arithmetic with signs, a priority by wildcards, a Gray code by a generate loop.
module abacus (
    input wire ACLK, input wire ARESETN,
    input wire AWVALID, output wire AWREADY, input wire [5:0] AWADDR,
    input wire WVALID, output wire WREADY, input wire [31:0] WDATA, input wire [3:0] WSTRB,
    output reg BVALID, input wire BREADY, output wire [1:0] BRESP,
    input wire ARVALID, output wire ARREADY, input wire [5:0] ARADDR,
    output reg RVALID, input wire RREADY, output reg [31:0] RDATA, output wire [1:0] RRESP,
    output wire [15:0] gray, output wire below
);
    reg signed [15:0] a, b;
    reg signed [31:0] result;
    reg [4:0] highest;
    wire take = AWVALID & WVALID & ~BVALID;
    assign AWREADY = take, WREADY = take, ARREADY = ~RVALID, BRESP = 0, RRESP = 0;
    assign below = a < b;
    genvar g;
    generate
        for (g = 0; g < 16; g = g + 1) begin : bits
            if (g == 15) assign gray[g] = a[g];
            else assign gray[g] = a[g] ^ a[g+1];
        end
    endgenerate
    always @*
        casez (a)
            16'b1???????_????????: highest = 15;
            16'b01??????_????????: highest = 14;
            16'b001?????_????????: highest = 13;
            16'b0001????_????????: highest = 12;
            16'b0000_1???_????_????: highest = 11;
            16'b0000_01??_????_????: highest = 10;
            16'b0000_001?_????_????: highest = 9;
            16'b0000_0001_????_????: highest = 8;
            default: highest = {2'b0, a[7], |a[6:4], |a[3:0]};
        endcase
    always @*
        case (ARADDR[5:2])
            0: result = a * b;
            1: result = b == 0 ? 0 : a / b;
            2: result = b == 0 ? 0 : a % b;
            3: result = a >>> b[3:0];
            4: result = {a, b} <<< b[2:0];
            5: result = a + $signed(b[7:0]);
            6: result = -a - b;
            7: result = highest;
            8: result = a < b ? a : b;
            9: result = {16'd0, a} < {16'd0, b};
            10: result = {{4{a[3:0]}}, b};
            default: result = ~a;
        endcase
    always @(posedge ACLK)
        if (!ARESETN) begin
            {BVALID, RVALID, RDATA} <= 0;
            a <= -3;
            b <= 7;
        end else begin
            if (take) begin
                BVALID <= 1;
                if (AWADDR[2]) b <= WDATA; else a <= WDATA;
            end else if (BREADY) BVALID <= 0;
            if (ARVALID & ARREADY) begin
                RVALID <= 1;
                RDATA <= result;
            end else if (RREADY) RVALID <= 0;
        end
endmodule
